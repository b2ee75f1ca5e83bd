"""Proposals, changes and predictions in the store, and which proposals still stand.

A change is what was started, then one mark after another; it is never altered.
Whether a change was right is not judged here: the marks carry the lines that show it.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, Literal

from asleft.errors import InputError, RefusedError
from asleft.record import schema
from asleft.record.rows import ChangeRow, MarkRow, PredictionRow, ProposalRow
from asleft.record.tables import latest, rows
from asleft.record.trials import Trials, read_trials

if TYPE_CHECKING:
    from sqlalchemy import Connection
    from sqlalchemy.sql.elements import ColumnElement

ChangeKind = Literal["set", "undo", "restore"]
ChangeState = Literal[
    "sent", "read_back", "stored", "not_stored", "power_cycled", "failed", "undone", "handed_over"
]


class Changes(Trials):
    """The part of the store about what is changed on evidence."""

    def conclude_trial(self, trial_id: int, result: dict[str, Any]) -> None:
        """Keep what a trial came to and end it as done, with its proposals in the same moment.

        Each of `result["proposals"]` needs `setting` and `axis`; the whole of it is kept as it is.

        Raises:
            InputError: a proposal without setting or axis; nothing was kept.
            RefusedError: as `end_trial`; nothing was kept.
        """
        table = schema.proposal
        with self._writing() as connection:
            # One that an earlier form of the program was cut short in has its proposals already.
            if latest(connection, table, table.c.trial_id == trial_id) is None:
                for each in result["proposals"]:
                    self._add_proposal(connection, trial_id, each)
            self._end(connection, trial_id, "done", None, result)

    def _add_proposal(self, connection: Connection, trial_id: int, each: dict[str, Any]) -> None:
        if not each.get("setting") or not each.get("axis"):
            raise InputError("a proposal needs a setting and an axis", where="proposal")
        self._insert(
            connection,
            schema.proposal,
            trial_id=trial_id,
            setting=each["setting"],
            axis=each["axis"],
            details=each,
        )

    def proposals(self, calibration_id: int) -> list[ProposalRow]:
        """All proposals of a calibration, oldest first, those withdrawn among them."""
        table, withdrawal = schema.proposal, schema.proposal_withdrawal
        with self._reading() as connection:
            trials = read_trials(connection, schema.trial.c.calibration_id == calibration_id)
            found = rows(connection, table, table.c.trial_id.in_([trial.id for trial in trials]))
            ids = [row["id"] for row in found]
            gone = rows(connection, withdrawal, withdrawal.c.proposal_id.in_(ids))
        why = {row["proposal_id"]: row["reason"] for row in gone}
        return [ProposalRow(**row, withdrawn=why.get(row["id"])) for row in found]

    def standing_proposals(self, calibration_id: int) -> list[dict[str, Any]]:
        """The proposals that may still be acted on, oldest first, with `id` and `trial_id`.

        One for each setting and axis: the latest, from the latest trial of its kind that was
        done, not withdrawn, and neither acted on nor followed by another change of that
        setting. Once a change is undone, what it acted on stands again.
        """
        kinds, last_done = self._kinds(calibration_id)
        changes = [row for row in self.changes(calibration_id) if row.stands]
        acted_on = {number for row in changes for number in row.proposal_ids}
        changed = _last_changed(changes)
        newest = {
            (each.setting, each.axis): each
            for each in self.proposals(calibration_id)
            if last_done.get(kinds[each.trial_id], 0) <= each.trial_id
        }
        return [
            {"id": each.id, "trial_id": each.trial_id, "at": each.at, **each.details}
            for each in newest.values()
            if each.withdrawn is None
            and each.id not in acted_on
            and not (_of_controller(each) and changed.get(each.axis, "") > each.at)
        ]

    def _kinds(self, calibration_id: int) -> tuple[dict[int, str], dict[str, int]]:
        """Kind of each trial, and the latest trial of each kind that was done."""
        with self._reading() as connection:
            found = read_trials(connection, schema.trial.c.calibration_id == calibration_id)
        done = {row.kind: row.id for row in found if row.outcome == "done"}
        return {row.id: row.kind for row in found}, done

    def withdraw_proposal(self, proposal_id: int, reason: str) -> None:
        """Say that a proposal must not be acted on any more, and why.

        Raises:
            RefusedError: it was withdrawn before.
        """
        table = schema.proposal_withdrawal
        with self._writing() as connection:
            if latest(connection, table, table.c.proposal_id == proposal_id):
                raise RefusedError(f"proposal {proposal_id} was withdrawn before")
            self._insert(connection, table, proposal_id=proposal_id, reason=reason)

    def start_change(
        self,
        calibration_id: int,
        *,
        settings: list[dict[str, Any]],
        kind: ChangeKind,
        proposal_ids: Iterable[int] = (),
        kept_before: int | None = None,
    ) -> int:
        """Keep that a change is about to be sent: each setting with axis, before and wanted."""
        with self._writing() as connection:
            return self._insert(
                connection,
                schema.change,
                calibration_id=calibration_id,
                kind=kind,
                settings=settings,
                proposal_ids=list(proposal_ids),
                kept_state_id=kept_before,
            )

    def mark_change(
        self, change_id: int, state: ChangeState, details: dict[str, Any] | None = None
    ) -> int:
        """Keep what happened to a change, with the lines that show it."""
        with self._writing() as connection:
            return self._insert(
                connection,
                schema.change_mark,
                change_id=change_id,
                state=state,
                details=details or {},
            )

    def change(self, change_id: int) -> ChangeRow | None:
        """One change with its marks, or None."""
        with self._reading() as connection:
            found = _changes(connection, schema.change.c.id == change_id)
        return found[0] if found else None

    def changes(self, calibration_id: int) -> list[ChangeRow]:
        """A calibration's changes, oldest first."""
        with self._reading() as connection:
            return _changes(connection, schema.change.c.calibration_id == calibration_id)

    def add_prediction(self, calibration_id: int, trial_id: int, details: dict[str, Any]) -> int:
        """Keep what a second piece will measure, foretold from a trial; returns its number."""
        with self._writing() as connection:
            return self._insert(
                connection,
                schema.prediction,
                calibration_id=calibration_id,
                trial_id=trial_id,
                details=details,
            )

    def latest_prediction(self, calibration_id: int) -> PredictionRow | None:
        """The prediction made last, or None."""
        table = schema.prediction
        with self._reading() as connection:
            found = latest(connection, table, table.c.calibration_id == calibration_id)
        return PredictionRow(**found) if found else None

    def prediction_of(self, trial_id: int) -> PredictionRow | None:
        """What was foretold for one proof trial, or None."""
        table = schema.prediction
        with self._reading() as connection:
            found = latest(connection, table, table.c.trial_id == trial_id)
        return PredictionRow(**found) if found else None


def _of_controller(proposal: ProposalRow) -> bool:
    return bool(proposal.details.get("place", "controller") == "controller")


def _last_changed(changes: list[ChangeRow]) -> dict[str, str]:
    """When each name (`X`, `E0`, `XY`) was last changed, other than back to what it was."""
    return {
        str(each.get("axis") or each.get("setting")): change.at
        for change in changes
        if change.kind != "undo"
        for each in change.settings
    }


def _changes(connection: Connection, *where: ColumnElement[bool]) -> list[ChangeRow]:
    table = schema.change_mark
    found = rows(connection, schema.change, *where)
    marks = rows(connection, table, table.c.change_id.in_([row["id"] for row in found]))
    result = []
    for row in found:
        values = dict(row)
        values["kept_before"] = values.pop("kept_state_id")
        mine = tuple(MarkRow(**mark) for mark in marks if mark["change_id"] == row["id"])
        result.append(ChangeRow(**values, marks=mine))
    return result
