"""The parts of a record that are read row by row: states, trials with readings, proposals, changes.

As the store kept them, arranged; nothing is left out and nothing judged anew. `document` puts them
together. Stands on the store.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from asleft.record.rows import (
        CalibrationRow,
        ChangeRow,
        KeptRow,
        ReadingRow,
        StepRow,
        TrialRow,
    )
    from asleft.record.store import Store

RESULT_KEYS = ("quantities", "proposals", "budget", "set_aside", "warnings")


def states(store: Store, row: CalibrationRow, changes: list[ChangeRow]) -> dict[str, Any]:
    """As found, as left, and every state kept between them."""
    kept = [each for each in store.kept_states(row.machine_id) if each.calibration_id == row.id]
    found = kept[0] if kept else None
    live = [each for each in kept if each.standing != "from_storage"]
    sent = [
        each.kept_before
        for each in changes
        if each.kept_before is not None and each.state != "started"
    ]
    left: KeptRow | None = live[-1] if live else None
    why = None if sent else "nothing was changed"
    if left is None:
        why = "no settings were kept in this calibration"
    elif sent and left.id <= max(sent):
        left, why = None, "no settings were read after the last change"
    return {
        "as_found": _kept(found),
        "as_left": _kept(left),
        "as_left_reason": why,
        "kept_states": [_kept(each) for each in kept],
    }


def _kept(row: KeptRow | None) -> dict[str, Any] | None:
    if row is None:
        return None
    names = ("at", "reason", "standing", "parsed", "raw")
    return {"kept": row.id, **{name: getattr(row, name) for name in names}}


def trial(row: TrialRow, marks: list[StepRow], readings: list[ReadingRow]) -> dict[str, Any]:
    """One trial with the marks on its steps, its readings, and what came of it."""
    result = row.result or {}
    return {
        "id": row.id,
        "kind": row.kind,
        "started_at": row.at,
        "ended_at": row.ended_at,
        "outcome": row.outcome,
        "reason": row.reason,
        "person": row.person,
        "parameters": row.parameters,
        "kept": row.kept_id,
        "instrument": row.instrument,
        "making": row.making,
        "steps": [
            {"key": each.key, "state": each.state, "at": each.at, "details": each.details}
            for each in marks
        ],
        "readings": _readings(readings, result.get("set_aside") or []),
        **{name: result.get(name) or [] for name in RESULT_KEYS},
        "judgement": {name: value for name, value in result.items() if name not in RESULT_KEYS},
    }


def _readings(readings: list[ReadingRow], set_aside: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Every reading, and why it was not used where it was not.

    A solver counts the rows it was given from 1: the readings that were not taken back.
    """
    why_by_row = {int(each["row"]): str(each["why"]) for each in set_aside}
    found = []
    row = 0
    for each in readings:
        row += not each.voided
        why = each.void_reason if each.voided else why_by_row.get(row)
        found.append(
            {
                "id": each.id,
                "key": each.key,
                "take": each.take,
                "at": each.at,
                "person": each.person,
                "place": each.place,
                "value": each.value,
                "unit": each.unit,
                "raw": each.raw,
                "used": why is None,
                "why_not": why,
                "taken_back": each.void_reason,
            }
        )
    return found


def proposals(store: Store, calibration_id: int) -> list[dict[str, Any]]:
    """Every proposal of a calibration, and whether it stands."""
    standing = {each["id"] for each in store.standing_proposals(calibration_id)}
    return [
        {
            "id": each.id,
            "trial": each.trial_id,
            "at": each.at,
            **each.details,
            "stands": each.id in standing,
            "withdrawn": each.withdrawn,
        }
        for each in store.proposals(calibration_id)
    ]


def change(row: ChangeRow) -> dict[str, Any]:
    """One change with its marks, oldest first."""
    return {
        "id": row.id,
        "at": row.at,
        "kind": row.kind,
        "settings": row.settings,
        "proposals": row.proposal_ids,
        "kept_before": row.kept_before,
        "state": row.state,
        "stands": row.stands,
        "marks": [
            {"state": each.state, "at": each.at, "details": each.details} for each in row.marks
        ],
    }
