"""What a machine's years had shown when a calibration was done: for its record.

Later calibrations are left out, so that a record printed again next year says the same. Judges
nothing itself. Stands on `history`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from asleft.bench.years.history import judge_machine, told_of
from asleft.bench.years.levels import decimal_year

if TYPE_CHECKING:
    from asleft.record import CalibrationRow, Store

FIRST = "it is the machine's first calibration"
NOTHING_TWICE = "no quantity was found by this calibration and by an earlier one"


def years_up_to(store: Store, calibration: CalibrationRow) -> dict[str, Any]:
    """The years of a calibration's machine up to it, as a record keeps them.

    Returns:
        `at` (when it was closed; while it is open, when it was worked on last),
        `series` and `events` as in `asleft.history/1`, of what this and an earlier calibration
        found; `reason` where there is no such series.
    """
    at = calibration.closed_at or _last(store, calibration)
    earlier = [c for c in store.calibrations(calibration.machine_id) if c.id < calibration.id]
    if not earlier:
        return {"at": at, "series": [], "events": [], "reason": FIRST}
    machine = next(m for m in store.machines() if m.id == calibration.machine_id)
    events = [event for event in store.events(machine.id) if event.at <= at]
    judged, _ = judge_machine(store, machine.id, machine.name, events, decimal_year(at), until=at)
    series = [
        told_of(each)
        for each in judged
        if len(each.levels.points) > 1 and each.levels.points[-1].calibration == calibration.id
    ]
    return {
        "at": at,
        "series": series,
        "events": [{"at": e.at, "kind": e.kind, "text": e.text} for e in events],
        "reason": None if series else NOTHING_TWICE,
    }


def _last(store: Store, calibration: CalibrationRow) -> str:
    """When a calibration that is open was worked on last."""
    times = [trial.ended_at or trial.at for trial in store.trials(calibration.id)]
    kept = store.kept_states(calibration.machine_id)
    times += [state.at for state in kept if state.calibration_id == calibration.id]
    return max(times, default=calibration.at)
