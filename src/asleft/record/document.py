"""One calibration's record as data: schema `asleft.record/1`, all that the PDF shows and more.

Gathers and arranges what the store kept; estimates nothing and judges nothing anew.
Stands on the store; `sheet` makes words and figures for paper of it.
"""

from __future__ import annotations

import hashlib
import json
from typing import TYPE_CHECKING, Any

from asleft.errors import InputError
from asleft.record.cautions import cautions
from asleft.record.engine import to_json
from asleft.record.proof import proof

if TYPE_CHECKING:
    from asleft.record.rows import (
        CalibrationRow,
        ChangeRow,
        KeptRow,
        MachineRow,
        ReadingRow,
        TrialRow,
    )
    from asleft.record.store import Store

SCHEMA = "asleft.record/1"
RESULT_KEYS = ("quantities", "proposals", "budget", "set_aside", "warnings")


def assemble(store: Store, calibration_id: int, *, versions: dict[str, Any]) -> dict[str, Any]:
    """The complete record of a calibration.

    Args:
        store: an open store.
        calibration_id: which calibration.
        versions: what writes this record (program, interpreter, libraries).

    Returns:
        JSON values. An unknown is None, with a reason beside it where one is known.

    Raises:
        InputError: no such calibration.
        StoreError: the store cannot be read.
    """
    row = store.calibration(calibration_id)
    if row is None:
        raise InputError(
            f"there is no calibration {calibration_id}",
            hint="`asleft history` lists those there are.",
            where="calibration",
        )
    machine = next(each for each in store.machines() if each.id == row.machine_id)
    trials = [_trial(store, each) for each in store.trials(calibration_id)]
    changes = store.changes(calibration_id)
    document: dict[str, Any] = {
        "schema": SCHEMA,
        "calibration": _frame(row),
        "machine": _machine(machine),
        "instruments": _instruments(store, trials),
        "conditions": row.conditions,
        "makings": _distinct([trial["making"] for trial in trials]),
        **_states(store, row, changes),
        "trials": trials,
        "proposals": _proposals(store, calibration_id),
        "changes": [_change(each) for each in changes],
        "proof": proof(store, calibration_id),
        "events": _within(row, [each.to_dict() for each in store.events(machine.id)]),
        "wire_log": [each.to_dict() for each in store.wire_logs(calibration_id)],
        "versions": {"opened": row.versions, "written": versions},
        "readings_sha256": digest(trials),
    }
    document["cautions"] = cautions(document)
    return document


def digest(trials: list[dict[str, Any]]) -> str:
    """SHA-256 over every reading of a record, whoever wants to check that none was altered.

    The text hashed is JSON, keys sorted, no blanks: a list of [trial, key, take, place, value,
    raw, unit, at, taken back and why].
    """
    names = ("key", "take", "place", "value", "raw", "unit", "at", "taken_back")
    lines = [
        [trial["id"], *(reading[name] for name in names)]
        for trial in trials
        for reading in trial["readings"]
    ]
    text = json.dumps(lines, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def _frame(row: CalibrationRow) -> dict[str, Any]:
    return {
        "id": row.id,
        "opened_at": row.at,
        "closed_at": row.closed_at,
        "close_reason": row.close_reason,
        "person": row.person,
    }


def _machine(row: MachineRow) -> dict[str, Any]:
    return {
        "id": row.id,
        "name": row.name,
        "description": row.description,
        "fingerprint": row.fingerprints[-1] if row.fingerprints else None,
    }


def _instruments(store: Store, trials: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The instruments as the trials used them, with the checks that the store has of them."""
    known = {row.name: row for row in store.instruments()}
    used = _distinct([trial["instrument"] for trial in trials])
    return [
        {
            "name": each.get("name"),
            "description": each,
            "checks": list(known[each["name"]].checks) if each.get("name") in known else [],
        }
        for each in used
    ]


def _states(store: Store, row: CalibrationRow, changes: list[ChangeRow]) -> dict[str, Any]:
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


def _trial(store: Store, row: TrialRow) -> dict[str, Any]:
    result = row.result or {}
    readings = store.readings(row.id)
    return {
        "id": row.id,
        "kind": row.kind,
        "started_at": row.at,
        "ended_at": row.ended_at,
        "outcome": row.outcome,
        "reason": row.reason,
        "parameters": row.parameters,
        "kept": row.kept_id,
        "instrument": row.instrument,
        "making": row.making,
        "steps": [
            {"key": each.key, "state": each.state, "at": each.at, "details": each.details}
            for each in store.steps(row.id)
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


def _proposals(store: Store, calibration_id: int) -> list[dict[str, Any]]:
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


def _change(row: ChangeRow) -> dict[str, Any]:
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


def _within(row: CalibrationRow, events: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The events of the machine until the calibration was closed."""
    return [each for each in events if row.closed_at is None or each["at"] <= row.closed_at]


def _distinct(values: list[dict[str, Any]]) -> list[dict[str, Any]]:
    seen: dict[str, dict[str, Any]] = {}
    for value in values:
        if value:
            seen.setdefault(to_json(value), value)
    return list(seen.values())
