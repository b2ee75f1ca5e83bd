"""The years of a machine or of the workshop: what each calibration found, and what moves.

Reads the store alone: no line is opened, nothing is changed. Also what is coming due because of it.
Stands on `levels`, and on `measure` for every judgement.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from asleft.bench.events import EVENTS
from asleft.bench.levels import Levels, day_of, decimal_year, levels_of
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
    from asleft.record import EventRow, InstrumentRow, MachineRow, Store
    from asleft.record.history import Measured

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
        document["series"] = [_series(each) for each in judged]
        document["events"] = [{"at": e.at, "kind": e.kind, "text": e.text} for e in events]
    document["instruments"] = [
        _instrument(row, commons[row.name], at_years)
        for row in described
        if row.name in commons
    ]
    return document


def judge_machine(
    store: Store, machine_id: int, name: str, events: Sequence[EventRow], at_years: float
) -> tuple[list[Judged], dict[str, Common]]:
    """Every quantity of a machine, cleared of what its instruments did; and those instruments."""
    measured = past.measured_on(store, machine_id)
    as_left = past.states_as_left(store, machine_id)
    levels = _levels(store, measured, as_left)
    used = dict.fromkeys(p.instrument for each in levels for p in each.points if p.instrument)
    commons = {instrument: _common(store, instrument) for instrument in used}
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


def _common(store: Store, instrument: str) -> Common:
    """Whether an instrument moves all that it was used on, relative sizes only."""
    levels = _levels(store, past.measured_with(store, instrument), {}, of_scale=True)
    series = [each.series(str(each.machine_id)) for each in levels if len(each.points) > 1]
    return judge_instrument(series, instrument)


def _past(each: past.MachinePast) -> dict[str, Any]:
    return {
        "machine": each.name,
        "calibrations": each.calibrations,
        "first": each.first,
        "last": each.last,
    }


def _series(judged: Judged) -> dict[str, Any]:
    """One quantity as `asleft.history/1` tells it."""
    levels, finding = judged.levels, judged.finding
    values = judged.series.value.tolist()
    u = judged.series.u.tolist()
    ones, averages = individuals_chart(values, u), ewma_chart(values, u)
    points = []
    for k, point in enumerate(levels.points):
        before = levels.points[k - 1].left if k else None
        points.append(
            {
                **asdict(point),
                "level": values[k],
                "since_left": None if before is None else point.found - before,
                "low": ones.low[k] if ones.low else None,
                "high": ones.high[k] if ones.high else None,
                "ewma": averages.values[k],
                "ewma_low": averages.low[k] if averages.low else None,
                "ewma_high": averages.high[k] if averages.high else None,
                "outside": ones.outside[k] or averages.outside[k],
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


def _instrument(row: InstrumentRow, common: Common, at_years: float) -> dict[str, Any]:
    checks = [
        {n: check.get(n) for n in ("at", "nominal_mm", "u_mm", "error_mm", "error_u_mm")}
        for check in row.checks
    ]
    since = common.since_years
    return {
        "instrument": row.name,
        "machines": common.machines,
        "call": common.call,
        "why": common.reason,
        "p": common.p,
        "since": None if since is None else day_of(since),
        "size": common.size,
        "u": common.u,
        "a_year": common.slope,
        "checks": checks,
        "check_due": _check_due(checks, at_years),
    }


def _check_due(checks: Sequence[dict[str, Any]], at_years: float) -> bool | None:
    """Whether the last check on a known length is old; None where there is none."""
    return at_years - decimal_year(checks[-1]["at"]) > CHECK_LASTS_YEARS if checks else None


def coming(store: Store, machine: MachineRow, now: datetime) -> list[dict[str, Any]]:
    """What is due on a machine for what its years foretell; entries of `asleft.due/1`."""
    at_years = decimal_year(now.isoformat())
    events = store.events(machine.id)
    judged, commons = judge_machine(store, machine.id, machine.name, events, at_years)
    entries: dict[str, dict[str, Any]] = {}
    for each in judged:
        may = each.ahead.may_reach_years
        if may is not None and may <= at_years:
            entry = _foretold(each)
            entries.setdefault(entry["what"], entry)
    for row in store.instruments():
        if row.name in commons:
            entries |= {e["what"]: e for e in _of_instrument(row, commons[row.name], at_years)}
    return list(entries.values())


def _foretold(judged: Judged) -> dict[str, Any]:
    levels, finding = judged.levels, judged.finding
    where = levels.axis or levels.plane or ""
    what = f"{levels.name.replace('_', ' ')} {where}".strip()
    said = "was in doubt, more so by now" if judged.ahead.in_doubt else "may have left tolerance"
    known = {
        "steady": "it was steady so far, but that was some time ago",
        "unknown": "nobody knows yet how steady it is",
    }.get(finding.call, finding.reason)
    return {
        "what": f"{levels.charted.group} ({levels.trial} trial)",
        "trial": levels.trial,
        "measured": levels.points[-1].at,
        "why": f"{what} {said}: {known}",
    }


def _of_instrument(row: InstrumentRow, common: Common, at_years: float) -> list[dict[str, Any]]:
    last = row.checks[-1]["at"] if row.checks else None
    entry = {"what": f"check of {row.name}", "trial": None, "measured": last}
    if common.since_years is not None and (last is None or decimal_year(last) < common.since_years):
        return [{**entry, "why": common.reason}]
    if _check_due(row.checks, at_years):
        return [{**entry, "why": f"its last check on a known length is of {str(last)[:10]}"}]
    return []
