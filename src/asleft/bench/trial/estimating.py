"""From the stored readings of a trial to its result, its proposals and its outcome.

The one place where a trial ends. Everything needed to repeat the estimate a year later, the
basis and the readings with their raw text, is in the store before it is made.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from asleft.bench.desk import Desk
from asleft.errors import InputError
from asleft.trials import Basis, Entry, Trial

NO_READINGS = "there are no readings"


def entries_of(desk: Desk, trial: Trial, trial_id: int) -> list[Entry]:
    """The readings that count: the trial's own in the order taken, then the earlier ones."""
    return [
        Entry(reading.value, reading.place, reading.raw)
        for each in (trial_id, *trial.earlier)
        for reading in desk.store.readings(each)
        if not reading.voided
    ]


def file_entries(desk: Desk, trial: Trial, trial_id: int, entries: Sequence[Entry]) -> None:
    """File readings that were taken already, all of them or none."""
    desk.store.add_readings(
        trial_id,
        [
            {
                "key": f"{trial.kind}.file.{number}",
                "place": dict(entry.about),
                "value": entry.value,
                "raw": entry.raw,
                "unit": "mm",
            }
            for number, entry in enumerate(entries, start=1)
        ],
    )


def conclude(desk: Desk, trial: Trial, trial_id: int, basis: Basis) -> dict[str, Any]:
    """Estimate, file the proposals, end the trial; returns `asleft.trial/1`."""
    entries = entries_of(desk, trial, trial_id)
    try:
        if not entries:
            raise InputError(NO_READINGS, hint="Take some.", where=trial.kind)
        solution = trial.solve(entries, basis)
    except InputError as error:
        desk.store.end_trial(trial_id, "no_estimate", error.message, None)
        return report(desk, trial_id)
    desk.store.conclude_trial(trial_id, solution.to_dict())
    return report(desk, trial_id)


def report(desk: Desk, trial_id: int) -> dict[str, Any]:
    """What `asleft.trial/1` says of a trial as it stands in the store."""
    row = desk.store.trial(trial_id)
    assert row is not None  # noqa: S101 - the caller began it
    result = row.result
    return {
        "schema": "asleft.trial/1",
        "trial": row.kind,
        "calibration": row.calibration_id,
        "outcome": row.outcome,
        "readings": [
            {
                "key": reading.key,
                "value": reading.value,
                "unit": reading.unit,
                "raw": reading.raw,
                **reading.place,
            }
            for reading in desk.store.readings(trial_id)
            if not reading.voided
        ],
        "result": result,
        "reason": row.reason or None,
        "warnings": list(result.get("warnings", ())) if result else [],
    }
