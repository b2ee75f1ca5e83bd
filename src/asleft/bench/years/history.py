"""The years of a machine or of the workshop: what each calibration found, and what moves.

Reads the store alone: no line is opened, nothing is changed. What is due because of it stands in
`foretelling`. Stands on `levels`, and on `measure` for every judgement.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from asleft.bench.years.events import EVENTS
from asleft.bench.years.levels import Levels, day_of, decimal_year, levels_of
from asleft.errors import InputError
from asleft.measure import (
    Common,
    Finding,
    Forecast,
    Series,
    ewma_chart,
    forecast,
    individuals_chart,
    judge_instrument,
    judge_series,
)
from asleft.record import history as past

if TYPE_CHECKING:
    from asleft.record import EventRow, InstrumentRow, Store
    from asleft.record.history import Measured

CHECK = ("at", "nominal_mm", "u_mm", "error_mm", "error_u_mm")
CHECK_LASTS_YEARS = 1.0  # of an instrument on a known length; common practice, no source


@dataclass(frozen=True)
class Judged:
    """One quantity over the years with all that is said of it."""

    levels: Levels
    series: Series
    finding: Finding
    ahead: Forecast
    moved_by: tuple[str, ...]


def history(store: Store, machine: str | None, now: datetime) -> dict[str, Any]:
    """The past of one machine, or of all where none is named and there are several.

    Args:
        store: an open store. machine: its name, or None.
        now: the time now, with a zone.

    Returns:
        `asleft.history/1`.

    Raises:
        InputError: no machine is called so, or none is known at all.
    """
    known = past.pasts(store)
    named = [each for each in known if machine in (None, each.name)]
    if not named:
        raise InputError(
            f"no machine is called {machine!r}" if machine else "no machine is known yet",
            hint="`asleft machine list` shows them." if known else "`asleft found` begins one.",
            where="--machine",
        )
    at_years, described = decimal_year(now.isoformat()), store.instruments()
    document = {
        "schema": "asleft.history/1",
        "machine": None,
        "at": now.isoformat(timespec="seconds"),
        "machines": [_past(each) for each in named],
        "series": [],
        "events": [],
        "instruments": [],
    }
    if len(named) > 1:
        commons = {row.name: _common(store, row.name) for row in described}
    else:
        (own,) = named
        events = store.events(own.id)
        judged, commons = judge_machine(store, own.id, own.name, events, at_years)
        document["machine"] = own.name
        document["series"] = [told_of(each) for each in judged]
        document["events"] = [{"at": e.at, "kind": e.kind, "text": e.text} for e in events]
    document["instruments"] = [
        _instrument(name, checks_of(described, name), common, at_years)
        for name, common in commons.items()
    ]
    return document


def judge_machine(
    store: Store,
    machine_id: int,
    name: str,
    events: Sequence[EventRow],
    at_years: float,
    *,
    until: str | None = None,
) -> tuple[list[Judged], dict[str, Common]]:
    """Every quantity of a machine, cleared of what its instruments did; and those instruments.

    What was done after the time `until`, on any machine, is left out.
    """
    measured = past.measured_on(store, machine_id, until)
    as_left = past.states_as_left(store, machine_id, until)
    levels = _levels(store, measured, as_left)
    used = dict.fromkeys(p.instrument for each in levels for p in each.points if p.instrument)
    commons = {instrument: _common(store, instrument, until) for instrument in used}
    return [_judge(each, name, events, commons, at_years) for each in levels], commons


def _levels(
    store: Store, measured: list[Measured], as_left: dict[int, int], *, of_scale: bool = False
) -> list[Levels]:
    kept = {row.kept_id for row in measured if row.kept_id is not None} | set(as_left.values())
    settings, drives = past.settings_of(store, kept), past.drives(store)
    return levels_of(measured, settings, as_left, drives, of_scale=of_scale)


def _judge(
    levels: Levels,
    machine: str,
    events: Sequence[EventRow],
    commons: dict[str, Common],
    at_years: float,
) -> Judged:
    mine = tuple(
        (decimal_year(e.at), EVENTS[e.kind].words)
        for e in events
        if e.kind in EVENTS and levels.charted.group in EVENTS[e.kind].undoes
    )
    series, moved_by = levels.series(machine, mine), []
    if levels.charted.of_scale:
        for instrument, common in commons.items():
            offset = common.in_series(series, instrument)
            if offset.any():
                moved_by.append(instrument)
                series = series.less(offset)
    finding = judge_series(series)
    ahead = forecast(series, finding, at_years, levels.set_since)
    return Judged(levels, series, finding, ahead, tuple(moved_by))


def _common(store: Store, instrument: str, until: str | None = None) -> Common:
    """Whether an instrument moves all that it was used on, relative sizes only."""
    measured = past.measured_with(store, instrument, until)
    levels = _levels(store, measured, {}, of_scale=True)
    series = [each.series(str(each.machine_id)) for each in levels if len(each.points) > 1]
    return judge_instrument(series, instrument)


def _past(each: past.MachinePast) -> dict[str, Any]:
    return {
        "machine": each.name,
        "calibrations": each.calibrations,
        "first": each.first,
        "last": each.last,
    }


def told_of(judged: Judged) -> dict[str, Any]:
    """One quantity as `asleft.history/1` tells it."""
    levels, finding = judged.levels, judged.finding
    values = judged.series.value.tolist()
    u = judged.series.u.tolist()
    ones, averages = individuals_chart(values, u), ewma_chart(values, u)
    outside, strayed = ones.outside, averages.outside
    points = []
    for k, point in enumerate(levels.points):
        before = levels.points[k - 1].left if k else None
        points.append(
            {
                **vars(point),
                "level": values[k],
                "since_left": None if before is None else point.found - before,
                "low": ones.low[k] if ones.low else None,
                "high": ones.high[k] if ones.high else None,
                "ewma": averages.values[k],
                "ewma_low": averages.low[k] if averages.low else None,
                "ewma_high": averages.high[k] if averages.high else None,
                "outside": outside[k],
                "ewma_outside": strayed[k],
            }
        )
    may = judged.ahead.may_reach_years
    return {
        **{n: getattr(levels, n) for n in ("trial", "name", "axis", "plane", "making", "unit")},
        "tolerance": levels.tolerance,
        "points": points,
        "centre": ones.centre,
        "scatter": ones.scatter,
        "reason": ones.reason,
        "call": finding.call,
        "why": finding.reason,
        "p": finding.p,
        "steps": [_step(each) for each in finding.steps],
        "slope_per_year": finding.slope_per_year,
        "slope_u_per_year": finding.slope_u,
        "moved_by": list(judged.moved_by),
        "now": {n: getattr(judged.ahead, n) for n in ("value", "low95", "high95")},
        "in_doubt": judged.ahead.in_doubt,
        "may_reach": None if may is None else day_of(may),
    }


def _step(step: Any) -> dict[str, Any]:
    return {
        "after": day_of(step.after_years),
        "before": day_of(step.before_years),
        "size": step.size,
        "u": step.u,
        "event": step.event,
    }


def checks_of(described: Sequence[InstrumentRow], name: str) -> tuple[dict[str, Any], ...]:
    """An instrument's checks on a known length, oldest first; none where nobody described it."""
    return next((row.checks for row in described if row.name == name), ())


def _instrument(
    name: str, checks: Sequence[dict[str, Any]], common: Common, at_years: float
) -> dict[str, Any]:
    since = common.since_years
    by_checks = _judge_checks(name, checks)
    return {
        "instrument": name,
        "machines": common.machines,
        "call": common.call,
        "why": common.reason,
        "p": common.p,
        "since": None if since is None else day_of(since),
        "size": common.size,
        "u": common.u,
        "a_year": common.slope,
        "checks": [{n: check.get(n) for n in CHECK} for check in checks],
        "checks_call": by_checks.call if by_checks else "unknown",
        "checks_why": by_checks.reason if by_checks else "it was never checked",
        "check_due": check_due(checks, at_years),
    }


def _judge_checks(name: str, checks: Sequence[dict[str, Any]]) -> Finding | None:
    """Whether its error on the known length of the last check has moved; None without checks."""
    same = [c for c in checks if c["nominal_mm"] == checks[-1]["nominal_mm"]]
    if not same:
        return None
    at, error, u = (
        np.array([each(c) for c in same])
        for each in (
            lambda c: decimal_year(c["at"]),
            lambda c: c["error_mm"],
            lambda c: c["error_u_mm"],
        )
    )
    # The known length's own error is the same each time and moves nothing.
    return judge_series(Series(name, "mm", at, error, u, (name,) * at.size, np.zeros(at.size)))


def check_due(checks: Sequence[dict[str, Any]], at_years: float) -> bool | None:
    """Whether the last check on a known length is old; None where there is none."""
    return at_years - decimal_year(checks[-1]["at"]) > CHECK_LASTS_YEARS if checks else None
