"""What is left of a trial's readings beside its estimate: residuals by place, both ways of an axis.

Made anew from a record's own readings, for pictures and their tables. Estimates nothing new and
keeps nothing. Stands on `measure` and on how a record is read again.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from asleft.bench.rechecking import counted, rebuild
from asleft.errors import AsleftError
from asleft.measure import span_residuals
from asleft.trials import span_readings

Trial = Mapping[str, Any]


def span_rest(trial: Trial, document: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Each reading of a span with what is left of it, in the order of the places.

    Args:
        trial: one of the `trials` of an `asleft.record/1`.
        document: that record.

    Returns:
        `place`, `what` (direction and faces), `nominal_mm`, `reading_mm`, `rest_mm`, `used` and
        `why_not` of each; nothing where no estimate could be made.
    """
    trials = {int(each["id"]): each for each in document["trials"]}
    rebuilt, basis = rebuild(trial)
    entries = counted(trial, rebuilt, trials)
    rows = {int(each["row"]): str(each["why"]) for each in trial["set_aside"]}
    try:
        readings = span_readings(entries)
        rest = span_residuals(readings, instrument=basis.instrument)
    except AsleftError:
        return []  # the trial itself says why there is no estimate
    return [
        {
            "place": reading.place or str(number),
            "what": f"{reading.direction} {reading.faces}",
            "nominal_mm": reading.nominal_mm,
            "reading_mm": reading.reading_mm,
            "rest_mm": off,
            "used": number not in rows,
            "why_not": rows.get(number),
        }
        for number, (reading, off) in enumerate(zip(readings, rest, strict=True), start=1)
    ]


def both_ways(trial: Trial) -> dict[str, dict[str, list[tuple[float, float]]]]:
    """Departures of each axis traversed, less their mean: by axis, by approach, at each target.

    The instrument's zero may lie anywhere, so only differences mean anything.
    """
    read: dict[str, dict[str, list[tuple[float, float]]]] = {}
    for reading in trial["readings"]:
        place = reading["place"]
        if reading["used"] and place.get("approach"):
            ways = read.setdefault(place["axis"], {"+": [], "-": []})
            target = float(place["target_mm"])
            ways[place["approach"]].append((target, float(reading["value"]) - target))
    for ways in read.values():
        offs = [off for points in ways.values() for _, off in points]
        mean = sum(offs) / len(offs)
        for way, points in ways.items():
            ways[way] = [(at, off - mean) for at, off in points]
    return read
