"""Pictures for a face that shows them: where the jaws go, and what was found, each with its table.

SVG text without a style of its own, so that a page may style it by class in light and dark. Draws
nothing itself: the drawings are those of the pieces and of the record.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from asleft.bench.person import Ask

_STYLE = re.compile(r"<style>.*?</style>", re.DOTALL)
_SIZE = re.compile(r' (?:width|height)="[\d.]+(?:mm)?"')
_SCALE_TOLERANCE = 0.001

Row = tuple[str, ...]


@dataclass(frozen=True)
class Figure:
    """A chart and its numbers: what a reader of the picture sees, a reader of the table reads.

    `svg` is a drawing without colours; `columns` are the heads of `rows`, units in them.
    """

    svg: str
    caption: str
    columns: Row
    rows: tuple[Row, ...]


def picture_of(ask: Ask) -> str | None:
    """What a person would rather look at than read, or None where words must do."""
    if ask.action != "measure_place" or ask.place is None:
        return None
    from asleft.pieces.at_place import place_svg

    about = ask.details
    svg = place_svg(ask.place, about["direction"], about["faces"], about["nominal_mm"])
    return None if svg is None else _for_page(svg)


def figures_of(trial: Mapping[str, Any], document: Mapping[str, Any]) -> list[Figure]:
    """The charts of one trial of a record: its errors, then its readings.

    Args:
        trial: one of the `trials` of an `asleft.record/1`.
        document: that record.
    """
    drawn = [_errors(trial)]
    if trial["kind"] == "span":
        drawn.append(_rest(trial, document))
    elif trial["kind"] == "traverse":
        drawn += _loops(trial)
    elif trial["kind"] in ("bead", "fit"):
        drawn += _as_taken(trial)
    return [each for each in drawn if each is not None]


def _errors(trial: Mapping[str, Any]) -> Figure | None:
    """Scale of each axis with its 95 % interval against the tolerance, in per cent."""
    from asleft.record.charts import Interval, interval_chart

    basis = (trial.get("parameters") or {}).get("basis") or {}
    tolerance = float((basis.get("tolerance") or {}).get("scale") or _SCALE_TOLERANCE)
    found = [
        q
        for q in trial["quantities"]
        if q["name"] in ("printed_scale", "motion_scale") and None not in (q["value"], q["low95"])
    ]
    both = len({q["name"] for q in found}) > 1
    rows = [
        Interval(
            f"{q['name'].removesuffix('_scale') + ' ' if both else ''}{q['axis']}",
            100 * q["value"],
            100 * q["low95"],
            100 * q["high95"],
            outside=abs(q["value"]) > tolerance,
        )
        for q in found
    ]
    if not rows:
        return None
    return Figure(
        _for_page(interval_chart(rows, unit="%", band=100 * tolerance, caption="error of scale")),
        "Error of each axis with the interval that holds it 95 times of 100. The band is what is"
        f" harmless, ± {100 * tolerance:g} %; open means outside it.",
        ("Axis", "Error", "95 % interval"),
        tuple(
            (r.label, f"{_signed(r.value, 3)} %", f"{_signed(r.low, 3)} to {_signed(r.high, 3)} %")
            for r in rows
        ),
    )


def _rest(trial: Mapping[str, Any], document: Mapping[str, Any]) -> Figure | None:
    from asleft.bench.leftover import span_rest
    from asleft.record.charts_rest import Rest, rest_chart

    rest = span_rest(trial, document)
    if not rest:
        return None
    chart = rest_chart(
        [Rest(f"{r['place']}  {r['what']}", r["rest_mm"], r["used"]) for r in rest],
        unit="mm",
        caption="read less what all readings say",
    )
    aside = sum(not r["used"] for r in rest)
    return Figure(
        _for_page(chart),
        "What is left of each reading, by the number of its place on the drawing."
        + (f" Open: set aside ({aside})." if aside else " None was set aside."),
        ("Place", "Where", "Drawn", "Read", "Left over", "Note"),
        tuple(
            (
                r["place"],
                r["what"],
                f"{r['nominal_mm']:g} mm",
                f"{r['reading_mm']:g} mm",
                f"{_signed(r['rest_mm'], 3)} mm",
                "" if r["used"] else f"set aside: {r['why_not']}",
            )
            for r in rest
        ),
    )


def _loops(trial: Mapping[str, Any]) -> Iterable[Figure]:
    """What an axis does at each target, come from below and from above."""
    from asleft.bench.leftover import both_ways
    from asleft.record.charts_rest import loop_chart

    for axis, ways in both_ways(trial).items():
        if not (ways["+"] and ways["-"]):
            continue
        rows = [
            (f"{at:g} mm", "from below" if way == "+" else "from above", f"{_signed(off, 3)} mm")
            for way, points in ways.items()
            for at, off in points
        ]
        yield Figure(
            _for_page(loop_chart(ways["+"], ways["-"], axis=axis)),
            f"{axis} at each place, less the mean. Solid: come from below; dashed, open: from"
            " above. The gap between the lines is the slack.",
            ("Sent to", "Come", "Read less sent"),
            tuple(rows),
        )


def _as_taken(trial: Mapping[str, Any]) -> Iterable[Figure]:
    """Widths of a bead or tries of a fit, as they were taken."""
    from asleft.record.sheet_findings import reading_charts

    rows = tuple(
        (
            f"{_drawn(r)} mm" if _drawn(r) else "",
            str(r["place"].get("outcome") or f"{r['value']:g} {r['unit']}"),
            "" if r["used"] else f"set aside: {r['why_not']}",
        )
        for r in trial["readings"]
    )
    captions = {
        "bead": "Width of the bead as read against as drawn.",
        "fit": "Every try, by the room drawn around your part.",
    }
    for svg in reading_charts(dict(trial)):
        yield Figure(_for_page(svg), captions[trial["kind"]], ("Drawn", "Read", "Note"), rows)


def _drawn(reading: Mapping[str, Any]) -> str:
    place = reading["place"]
    size = place.get("drawn_width_mm", place.get("drawn_mm"))
    if size is None and place.get("outcome"):
        size = reading["value"]
    return "" if size is None else f"{size:g}"


def proof_figure(faces: Sequence[Mapping[str, Any]]) -> Figure | None:
    """Readings of the second piece less what was foretold, each with its 95 % interval, in mm."""
    from asleft.record.charts import Interval, interval_chart

    rows = [
        Interval(
            str(face["label"]),
            face["reading_mm"] - face["predicted_mm"],
            face["low95_mm"] - face["predicted_mm"],
            face["high95_mm"] - face["predicted_mm"],
            outside=face["inside"] is False,
        )
        for face in faces
        if face.get("reading_mm") is not None
    ]
    if not rows:
        return None
    return Figure(
        _for_page(interval_chart(rows, unit="mm", caption="read less foretold")),
        "Each place: what was read less what was foretold, in the interval that was foretold to"
        " hold it 95 times of 100. Open means outside.",
        ("Place", "Foretold, 95 %", "Read", "Note"),
        tuple(
            (
                str(f["label"]),
                f"{f['low95_mm']:.3f} to {f['high95_mm']:.3f} mm",
                "not counted" if f["reading_mm"] is None else f"{f['reading_mm']:.3f} mm",
                "outside" if f["inside"] is False else "",
            )
            for f in faces
        ),
    )


def years_figure(series: Mapping[str, Any], events: Sequence[Mapping[str, Any]] = ()) -> Figure:
    """One of the `series` of `asleft.history/1` over its calibrations, with the events of it."""
    from asleft.record import history_chart
    from asleft.record.charts_history import UNITS

    factor, unit = UNITS.get(series["unit"], (1.0, series["unit"]))

    def cell(value: float | None) -> str:
        return "not known" if value is None else f"{_signed(value * factor, 3)} {unit}"

    return Figure(
        _for_page(history_chart(series, tuple(events))),
        f"Each calibration in {unit}, had no setting been changed since the first.",
        ("Day", "Found", "Left", "Charted", "Limits"),
        tuple(
            (
                p["at"][:10],
                cell(p["found"]),
                cell(p["left"]),
                cell(p["level"]) + (", outside" if p["outside"] else ""),
                "not known" if p["low"] is None else f"{cell(p['low'])} to {cell(p['high'])}",
            )
            for p in series["points"]
        ),
    )


def _signed(value: float, decimals: int) -> str:
    """A number with its sign, a true minus; zero without one."""
    text = f"{value:+.{decimals}f}"
    return text.replace("-", "−") if float(text) else text[1:]


def _for_page(svg: str) -> str:
    """The drawing without style and fixed size: the page gives both."""
    head, rest = _STYLE.sub("", svg).split(">", 1)
    return _SIZE.sub("", head) + ">" + rest
