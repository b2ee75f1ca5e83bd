"""Trials in the store: their steps, readings and ends.

A reading is kept the moment it is entered and never doubled; one taken back stays, with the
reason, and may be taken again. What a trial proposes stands in `changes`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any, Literal, TypeVar

from asleft.errors import InputError, RefusedError
from asleft.record import schema
from asleft.record.rows import ReadingRow, StepRow, TrialRow
from asleft.record.tables import Tables, latest, rows

if TYPE_CHECKING:
    from sqlalchemy import Connection, RowMapping, ScalarSelect
    from sqlalchemy.sql.elements import ColumnElement

Outcome = Literal["done", "stopped", "failed", "no_estimate"]
StepState = Literal["started", "done", "void"]


class Trials(Tables):
    """The part of the store about measuring."""

    def start_trial(
        self,
        calibration_id: int,
        kind: str,
        *,
        parameters: dict[str, Any],
        steps: list[Any],
        kept_id: int | None,
        instrument: dict[str, Any],
        making: dict[str, Any],
    ) -> int:
        """Keep that a trial begins, with all that it was told; returns its number."""
        with self._writing() as connection:
            return self._insert(
                connection,
                schema.trial,
                calibration_id=calibration_id,
                kind=kind,
                parameters=parameters,
                steps=steps,
                kept_state_id=kept_id,
                instrument=instrument,
                making=making,
            )

    def end_trial(
        self,
        trial_id: int,
        outcome: Outcome,
        reason: str | None,
        result: dict[str, Any] | None,
    ) -> None:
        """Keep how a trial ended; all outcomes but `done` need a reason.

        Raises:
            RefusedError: it has ended.
        """
        with self._writing() as connection:
            self._end(connection, trial_id, outcome, reason, result)

    def _end(
        self,
        connection: Connection,
        trial_id: int,
        outcome: Outcome,
        reason: str | None,
        result: dict[str, Any] | None,
    ) -> None:
        table = schema.trial_end
        if latest(connection, table, table.c.trial_id == trial_id):
            raise RefusedError(f"trial {trial_id} has ended", hint="Begin a new one.")
        values = {"outcome": outcome, "reason": reason or "", "result": result}
        self._insert(connection, table, trial_id=trial_id, **values)

    def trial(self, trial_id: int) -> TrialRow | None:
        """One trial, or None."""
        with self._reading() as connection:
            found = read_trials(connection, schema.trial.c.id == trial_id)
        return found[0] if found else None

    def trials(self, calibration_id: int) -> list[TrialRow]:
        """A calibration's trials, oldest first."""
        with self._reading() as connection:
            return read_trials(connection, schema.trial.c.calibration_id == calibration_id)

    def unfinished_trial(self, calibration_id: int, kind: str) -> TrialRow | None:
        """The latest trial of this kind that has no end yet, or None."""
        found = [row for row in self.trials(calibration_id) if row.kind == kind]
        return next((row for row in reversed(found) if row.outcome == "unfinished"), None)

    def mark_step(
        self,
        trial_id: int,
        key: str,
        state: StepState,
        details: dict[str, Any] | None = None,
    ) -> int:
        """Keep that a step was started, done, or no longer counts."""
        with self._writing() as connection:
            return self._mark(connection, trial_id, key, state, details or {})

    def _mark(
        self,
        connection: Connection,
        trial_id: int,
        key: str,
        state: StepState,
        details: dict[str, Any],
        **written: Any,
    ) -> int:
        """One mark; `written` may say when and by whom, if it was not now and here."""
        return self._insert(
            connection,
            schema.step_mark,
            trial_id=trial_id,
            key=key,
            state=state,
            details=details,
            **written,
        )

    def steps(self, trial_id: int) -> list[StepRow]:
        """All marks of a trial in the order they were made."""
        table = schema.step_mark
        with self._reading() as connection:
            return [StepRow(**row) for row in rows(connection, table, table.c.trial_id == trial_id)]

    def steps_by_trial(self, calibration_id: int) -> dict[int, list[StepRow]]:
        """All marks of a calibration's trials, by trial, each in the order they were made."""
        table = schema.step_mark
        with self._reading() as connection:
            found = rows(connection, table, table.c.trial_id.in_(_of(calibration_id)))
        return _by_trial(StepRow(**row) for row in found)

    def add_reading(
        self,
        trial_id: int,
        *,
        key: str,
        place: dict[str, Any],
        value: float,
        raw: str,
        unit: str = "mm",
        done: dict[str, Any] | None = None,
    ) -> int:
        """Keep one reading; returns its number.

        With `done`, its step is marked done with these details in the same moment.

        Raises:
            RefusedError: this key has a reading that stands (void it first), or the trial ended.
        """
        reading = {"key": key, "place": place, "value": value, "raw": raw, "unit": unit}
        with self._writing() as connection:
            (number,) = self._add_readings(connection, trial_id, [reading])
            if done is not None:
                self._mark(connection, trial_id, key, "done", done)
        return number

    def add_readings(self, trial_id: int, readings: Iterable[Mapping[str, Any]]) -> list[int]:
        """Keep many readings, all or none; returns their numbers.

        Each has `key`, `place`, `value`, `raw` and `unit`, as `add_reading` takes them.

        Raises:
            RefusedError: as `add_reading`; nothing was kept.
        """
        with self._writing() as connection:
            return self._add_readings(connection, trial_id, readings)

    def _add_readings(
        self, connection: Connection, trial_id: int, readings: Iterable[Mapping[str, Any]]
    ) -> list[int]:
        """The readings of one transaction; `at` and `person` are now and here unless given."""
        ended = schema.trial_end
        if latest(connection, ended, ended.c.trial_id == trial_id):
            raise RefusedError(f"trial {trial_id} has ended", hint="Begin a new one.")
        taken = taken_before(read_readings(connection, schema.reading.c.trial_id == trial_id))
        return [
            self._insert(
                connection,
                schema.reading,
                trial_id=trial_id,
                take=next_take(taken, each["key"], each["raw"]),
                **{**each, "value": float(each["value"])},
            )
            for each in readings
        ]

    def readings(self, trial_id: int) -> list[ReadingRow]:
        """A trial's readings, oldest first, those taken back among them."""
        with self._reading() as connection:
            return read_readings(connection, schema.reading.c.trial_id == trial_id)

    def readings_by_trial(self, calibration_id: int) -> dict[int, list[ReadingRow]]:
        """All readings of a calibration's trials, by trial, as `readings` gives them."""
        mine = schema.reading.c.trial_id.in_(_of(calibration_id))
        with self._reading() as connection:
            return _by_trial(read_readings(connection, mine))

    def void_reading(self, reading_id: int, reason: str) -> None:
        """Take a reading back; it stays in the store, with the reason.

        Raises:
            InputError: no such reading.
            RefusedError: it was taken back before.
        """
        table, void = schema.reading, schema.reading_void
        with self._writing() as connection:
            if latest(connection, table, table.c.id == reading_id) is None:
                raise InputError(f"there is no reading {reading_id}", where="reading")
            if latest(connection, void, void.c.reading_id == reading_id):
                raise RefusedError(f"reading {reading_id} was taken back before")
            self._insert(connection, void, reading_id=reading_id, reason=reason)


def taken_before(readings: Iterable[ReadingRow]) -> dict[str, list[str | None]]:
    """The raw text of each key's readings, oldest first; None where one was taken back."""
    taken: dict[str, list[str | None]] = {}
    for row in readings:
        taken.setdefault(row.key, []).append(None if row.voided else row.raw)
    return taken


def next_take(taken: dict[str, list[str | None]], key: str, raw: str) -> int:
    """How often this key was read and taken back; refused while a reading of it stands."""
    before = taken.setdefault(key, [])
    standing = next((text for text in before if text is not None), None)
    if standing is not None:
        raise RefusedError(
            f"{key} has a reading already ({standing.strip()})",
            hint="Take that one back first if it is wrong.",
            where=key,
        )
    before.append(raw)
    return len(before) - 1


def _of(calibration_id: int) -> ScalarSelect[int]:
    """The numbers of a calibration's trials, for a query about them."""
    table = schema.trial
    chosen = table.select().where(table.c.calibration_id == calibration_id)
    return chosen.with_only_columns(table.c.id).scalar_subquery()


Of = TypeVar("Of", StepRow, ReadingRow)


def _by_trial(found: Iterable[Of]) -> dict[int, list[Of]]:
    sorted_out: dict[int, list[Of]] = {}
    for each in found:
        sorted_out.setdefault(each.trial_id, []).append(each)
    return sorted_out


def read_readings(connection: Connection, which: ColumnElement[bool]) -> list[ReadingRow]:
    """The readings of a condition on their table, with the reason beside those taken back."""
    table, void = schema.reading, schema.reading_void
    mine = table.select().with_only_columns(table.c.id).where(which)
    voids = rows(connection, void, void.c.reading_id.in_(mine))
    why = {row["reading_id"]: row["reason"] for row in voids}
    found = rows(connection, table, which)
    return [ReadingRow(**row, void_reason=why.get(row["id"])) for row in found]


def read_trials(connection: Connection, *where: ColumnElement[bool]) -> list[TrialRow]:
    """Trials with their ends."""
    table = schema.trial_end
    found = rows(connection, schema.trial, *where)
    ends = rows(connection, table, table.c.trial_id.in_([row["id"] for row in found]))
    by_trial = {row["trial_id"]: row for row in ends}
    return [_trial(row, by_trial.get(row["id"])) for row in found]


def _trial(row: RowMapping, end: RowMapping | None) -> TrialRow:
    values = dict(row)
    values["kept_id"] = values.pop("kept_state_id")
    if end is not None:
        values |= {"outcome": end["outcome"], "result": end["result"], "ended_at": end["at"]}
        values["reason"] = end["reason"] or None
    return TrialRow(**values)
