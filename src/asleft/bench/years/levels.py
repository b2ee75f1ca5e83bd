"""What each calibration found, brought to one set of settings, so that years can be compared.

An error that was found is taken back to the settings as left the first time: changes made since do
not look like drift. Not for judging (`history`). Stands on `measure` and rows of the store.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from asleft.errors import InputError
from asleft.measure import DriveChange, Instrument, Series, Tolerance
from asleft.measure.span.predict import settings_change
from asleft.units import LINEAR_AXES, is_tool_axis

if TYPE_CHECKING:
    from asleft.measure.linear import Array
    from asleft.record.history import Measured, Settings

LEAST_OWN = 0.3  # of the stated uncertainty is taken as its own scatter at least; a guess, ours
DAYS_A_YEAR = 365.25
USUAL = Tolerance().to_dict()


@dataclass(frozen=True)
class Charted:
    """A quantity that is charted: its group of `FINDINGS`, its tolerance, where 0 error is.

    `of_scale`: an instrument's relative error adds to it as it is; `of_zero`: its zero does.
    """

    group: str
    tolerance: str | None = None
    right: float = 0.0
    of_scale: bool = False
    of_zero: bool = False


CHARTED = {
    ("feed", "fed_ratio"): Charted("extruder", "feed", 1.0, of_scale=True),
    ("span", "printed_scale"): Charted("axes", "scale", of_scale=True),
    ("span", "shear"): Charted("shear", "shear"),
    ("span", "growth"): Charted("growth", "growth", of_zero=True),
    ("traverse", "motion_scale"): Charted("axes", "scale", of_scale=True),
    ("traverse", "reversal"): Charted("reversal"),
    ("bead", "flow"): Charted("bead", "bead", 1.0),
    ("fit", "clearance"): Charted("fit"),
}


@dataclass(frozen=True)
class Point:
    """One calibration's error: as found, and with the settings of the first as left.

    `left` is what it is with the settings as left; None where those are not known.
    """

    calibration: int
    trial_id: int
    at: str
    found: float
    u: float
    level: float
    left: float | None
    instrument: str
    instrument_u: float
    settings_known: bool


@dataclass(frozen=True)
class Levels:
    """One quantity of one machine and making over its calibrations, oldest first.

    `set_since` is what the machine's settings as left last add to the last level.
    """

    machine_id: int
    trial: str
    name: str
    axis: str | None
    plane: str | None
    unit: str
    making: str
    tolerance: float | None
    points: tuple[Point, ...]
    set_since: float

    @property
    def charted(self) -> Charted:
        """What is known of the quantity."""
        return CHARTED[self.trial, self.name]

    def series(self, machine: str, events: tuple[tuple[float, str], ...] = ()) -> Series:
        """For `judge_series` and `judge_instrument`."""
        u, own = (np.array([getattr(p, n) for p in self.points]) for n in ("u", "instrument_u"))
        return Series(
            machine,
            self.unit,
            np.array([decimal_year(p.at) for p in self.points]),
            np.array([p.level for p in self.points]),
            np.sqrt(np.maximum(u**2 - own**2, (LEAST_OWN * u) ** 2)),
            tuple(p.instrument for p in self.points),
            own,
            events,
            self.tolerance,
        )


def decimal_year(at: str) -> float:
    """An ISO time in years, so that differences are in years of 365.25 days."""
    moment = datetime.fromisoformat(at)
    return 2000 + (moment - datetime(2000, 1, 1, tzinfo=UTC)).total_seconds() / 86400 / DAYS_A_YEAR


def day_of(year: float) -> str:
    """The inverse of `decimal_year`, as a date."""
    start = datetime(2000, 1, 1, tzinfo=UTC).timestamp()
    moment = start + (year - 2000) * DAYS_A_YEAR * 86400
    return datetime.fromtimestamp(moment, UTC).date().isoformat()


def levels_of(
    measured: Iterable[Measured],
    settings: Mapping[int, Settings],
    as_left: Mapping[int, int],
    drives: Mapping[int, str],
    *,
    of_scale: bool = False,
) -> list[Levels]:
    """Every charted quantity over the calibrations: of each, the trial as found.

    That is the first of its kind, or the last that repeated it under the same settings.

    Args:
        measured: oldest first. settings: by kept state. drives: by machine.
        as_left: by calibration of one machine, the kept state as left; may be empty.
        of_scale: only what an instrument's relative error adds to.
    """
    found: dict[tuple[Any, ...], list[tuple[Measured, Mapping[str, Any]]]] = {}
    for row in measured:
        making = str(row.making.get("name") or "")
        for quantity in row.quantities:
            where = (quantity.get("axis"), quantity.get("plane"))
            key = (row.machine_id, row.kind, quantity["name"], *where, making)
            charted = CHARTED.get((row.kind, quantity["name"]))
            if charted is None or not quantity.get("u") or (of_scale and not charted.of_scale):
                continue
            if quantity["name"] == "growth" and quantity.get("axis"):
                continue  # that of the plane holds what X and Y have in common
            before = found.setdefault(key, [])
            if quantity["value"] is None:
                continue
            if not before or before[-1][0].calibration_id != row.calibration_id:
                before.append((row, quantity))
            elif _repeats(before[-1][0], row, settings):
                before[-1] = (row, quantity)
    return [
        _levels(key, rows, settings, as_left, drives.get(key[0], "cartesian"))
        for key, rows in found.items()
        if rows
    ]


def _repeats(one: Measured, other: Measured, settings: Mapping[int, Settings]) -> bool:
    """Whether a trial was made again with nothing changed: it was bad, or it was gone on with."""
    held = settings.get(one.kept_id or -1)
    return held is not None and held == settings.get(other.kept_id or -1)


def _levels(
    key: tuple[Any, ...],
    rows: list[tuple[Measured, Mapping[str, Any]]],
    settings: Mapping[int, Settings],
    as_left: Mapping[int, int],
    drive: str,
) -> Levels:
    machine, trial, name, axis, plane, making = key
    charted = CHARTED[trial, name]

    def left(row: Measured) -> Settings | None:
        return settings.get(as_left.get(row.calibration_id, -1))

    first = rows[0][0]
    reference = left(first) or settings.get(first.kept_id or -1)

    def added(now: Settings | None) -> float:
        if now is None or reference is None or now == reference:
            return 0.0
        return _added(name, axis or plane or "", reference, now, drive)

    relative = name not in ("shear", "growth", "reversal", "clearance")
    points = []
    for row, quantity in rows:
        error = float(quantity["value"]) - charted.right
        here, after = settings.get(row.kept_id or -1), left(row)
        level = _less(error, added(here), relative=relative)
        points.append(
            Point(
                row.calibration_id, row.trial_id, row.at, error, float(quantity["u"]), level,
                None if after is None else _with(level, added(after), relative=relative),
                str(row.instrument.get("name") or ""), _own_u(row.instrument, charted),
                here is not None,
            )
        )  # fmt: skip
    tolerance = {**USUAL, **rows[-1][0].tolerance}.get(charted.tolerance or "")
    # What is in force now may have been set by a calibration that did not measure this.
    now = settings.get(max(as_left.values(), default=rows[-1][0].kept_id or -1))
    level = points[-1].level
    return Levels(
        machine, trial, name, axis, plane, str(rows[-1][1]["unit"]), making, tolerance,
        tuple(points), _with(level, added(now), relative=relative) - level,
    )  # fmt: skip


def _with(error: float, added: float, *, relative: bool) -> float:
    return (1 + error) * (1 + added) - 1 if relative else error + added


def _less(error: float, added: float, *, relative: bool) -> float:
    return (1 + error) / (1 + added) - 1 if relative else error - added


def _added(name: str, where: str, before: Settings, after: Settings, drive: str) -> float:
    """What new settings add to an error: relative, or rad for a shear."""
    if name in ("fed_ratio", "flow"):
        tool = where if is_tool_axis(where) else "E"
        old, new = (_of_tool(s.steps_per_mm, tool) for s in (before, after))
        return new / old - 1 if old and new else 0.0
    if name not in ("printed_scale", "motion_scale", "shear"):
        return 0.0
    change = _map(before, after, drive)
    if name == "shear" and len(where) == 2:
        i, j = (LINEAR_AXES.index(each) for each in where)
        return float(change[i, j] + change[j, i])
    return float(change[(k := LINEAR_AXES.index(where)), k]) - 1 if where in LINEAR_AXES else 0.0


def _of_tool(steps: Mapping[str, float], tool: str) -> float | None:
    return steps.get(tool) or (steps.get("E0") if tool == "E" else steps.get("E"))


def _map(before: Settings, after: Settings, drive: str) -> Array:
    old, new = (s.delta if {"L", "R"} <= set(s.delta) else None for s in (before, after))
    change = DriveChange(drive, old, new)
    try:
        return settings_change(
            before.steps_per_mm, after.steps_per_mm, before.skew, after.skew, change
        )
    except InputError:  # arms that cannot be: typed wrong once, and kept as typed
        return np.eye(3)


@lru_cache(maxsize=64)
def _instrument(text: str) -> Instrument | None:
    """One instrument as described; read once, since hundreds of trials name the same."""
    try:
        return Instrument.from_dict(json.loads(text))
    except (InputError, TypeError):
        return None


def _own_u(values: Mapping[str, Any], charted: Charted) -> float:
    """What the instrument's own error adds, the same each time it is used."""
    instrument = _instrument(json.dumps(values, sort_keys=True))
    if instrument is None:
        return 0.0
    if charted.of_scale:
        return instrument.own_scale()[1]
    return instrument.outside_zero_sd_mm if charted.of_zero else 0.0
