"""One calibration's record as data: schema `asleft.record/1`, all that the PDF shows and more.

Gathers and arranges what the store kept; estimates nothing and judges nothing anew.
Stands on the store; `sheet` makes words and figures for paper of it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from asleft.errors import InputError
from asleft.record.cautions import cautions
from asleft.record.conditions import in_force, not_said, room
from asleft.record.digests import digest, digest_of_all
from asleft.record.drawings import drawings
from asleft.record.engine import to_json
from asleft.record.kept_of import change, proposals, states, trial
from asleft.record.proof import proof

if TYPE_CHECKING:
    from asleft.record.rows import CalibrationRow, MachineRow
    from asleft.record.store import Store

SCHEMA = "asleft.record/1"


def assemble(
    store: Store,
    calibration_id: int,
    *,
    versions: dict[str, Any],
    years: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """The complete record of a calibration.

    Args:
        store: an open store.
        calibration_id: which calibration.
        versions: what writes this record (program, interpreter, libraries).
        years: `at`, `series`, `events` and `reason`: what the machine's years had shown by then.

    Returns:
        What `gather` returns, `drawings`, `years`, and the digest of all of it.

    Raises:
        InputError: no such calibration.
        StoreError: the store cannot be read.
    """
    document = gather(store, calibration_id, versions=versions)
    document["drawings"] = drawings(document["trials"])
    document["years"] = years
    document["record_sha256"] = digest_of_all(document)
    return document


def gather(store: Store, calibration_id: int, *, versions: dict[str, Any]) -> dict[str, Any]:
    """What the store kept of a calibration, without what only a record handed out needs.

    Args:
        store: an open store.
        calibration_id: which calibration.
        versions: what reads it (program, interpreter, libraries).

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
    marks, readings = store.steps_by_trial(calibration_id), store.readings_by_trial(calibration_id)
    trials = [
        trial(each, marks.get(each.id, []), readings.get(each.id, []))
        for each in store.trials(calibration_id)
    ]
    changes = store.changes(calibration_id)
    document: dict[str, Any] = {
        "schema": SCHEMA,
        "calibration": _frame(row),
        "machine": _machine(machine),
        "instruments": _instruments(store, trials),
        **_conditions(store, row, trials),
        "makings": _distinct([trial["making"] for trial in trials]),
        **states(store, row, changes),
        "trials": trials,
        "decision_rule": _decision_rule(),
        "proposals": proposals(store, calibration_id),
        "changes": [change(each) for each in changes],
        "proof": proof(store, calibration_id),
        "events": _within(row, [each.to_dict() for each in store.events(machine.id)]),
        "wire_log": [
            {**each.to_dict(), "path": in_home(each.path)}
            for each in store.wire_logs(calibration_id)
        ],
        "versions": {"opened": row.versions, "written": versions},
        "readings_sha256": digest(trials),
    }
    document["cautions"] = cautions(document)
    return document


def in_home(path: str) -> str:
    """A wire log's path from the home on: where the home was then says nothing of where it is."""
    return "/".join(path.replace("\\", "/").split("/")[-2:])


def _frame(row: CalibrationRow) -> dict[str, Any]:
    return {
        "id": row.id,
        "opened_at": row.at,
        "closed_at": row.closed_at,
        "close_reason": row.close_reason,
        "person": row.person,
    }


def _conditions(store: Store, row: CalibrationRow, trials: list[dict[str, Any]]) -> dict[str, Any]:
    """What was said of the evening, each key's latest; what was not, and what that means."""
    said = store.conditions_said(row.id)
    latest = in_force([row.conditions, *(each.details for each in said)])
    kinds = [str(trial["kind"]) for trial in trials]
    persons = [row.person, *(each["person"] for trial in trials for each in trial["readings"])]
    named = any(persons)
    return {
        "conditions": latest,
        "conditions_said": [
            {"at": each.at, "person": each.person, "details": each.details} for each in said
        ],
        "conditions_not_said": not_said(latest, kinds, named=named),
        "room_effect": room(latest, kinds),
    }


def _decision_rule() -> dict[str, float]:
    """What decides, as the program has it that writes the record."""
    from asleft.measure.verdict import GUARD, LEAVE_AT

    return {"leave_from_probability": LEAVE_AT, "guard_factor": GUARD}


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


def _within(row: CalibrationRow, events: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The events of the machine until the calibration was closed."""
    return [each for each in events if row.closed_at is None or each["at"] <= row.closed_at]


def _distinct(values: list[dict[str, Any]]) -> list[dict[str, Any]]:
    seen: dict[str, dict[str, Any]] = {}
    for value in values:
        if value:
            seen.setdefault(to_json(value), value)
    return list(seen.values())
