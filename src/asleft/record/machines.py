"""Machines, instruments, kept states, events and wire logs in the store.

What exists and what was seen; the work on it stands in `calibrations` and `trials`.
A new description of the same name is a new row, and the latest counts.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Literal

from asleft.errors import InputError
from asleft.record import schema
from asleft.record.rows import EventRow, InstrumentRow, KeptRow, MachineRow, WireLogRow
from asleft.record.tables import Tables, latest, rows

if TYPE_CHECKING:
    from sqlalchemy import Connection, RowMapping, Table

Standing = Literal["in_force", "after_reset", "from_storage", "typed", "pasted"]


def _name(description: dict[str, Any], what: str) -> str:
    name = str(description.get("name") or "").strip()
    if not name:
        raise InputError(f"{what} needs a name", hint="Give it one.", where="name")
    return name


class Machines(Tables):
    """The part of the store about things rather than work."""

    def _named(self, connection: Connection, table: Table, name: str) -> int:
        """The number of a name, made if it is new; another laptop may make it at this moment."""
        from sqlalchemy.exc import IntegrityError

        found = latest(connection, table, table.c.name == name)
        if found is None:
            try:
                with connection.begin_nested():
                    return self._insert(connection, table, name=name)
            except IntegrityError:
                found = latest(connection, table, table.c.name == name)
                if found is None:  # it was the name itself that the table declines
                    raise
        return int(found["id"])

    def add_machine(self, description: dict[str, Any]) -> int:
        """Keep a description (`name` in it); returns the machine's number.

        Raises:
            InputError: without a name.
        """
        name = _name(description, "a machine")
        with self._writing() as connection:
            number = self._named(connection, schema.machine, name)
            self._insert(
                connection, schema.machine_description, machine_id=number, description=description
            )
        return number

    def machine(self, name: str) -> MachineRow | None:
        """The machine of this name with its latest description, or None."""
        return next((row for row in self.machines() if row.name == name), None)

    def machines(self) -> list[MachineRow]:
        """All machines, oldest first."""
        with self._reading() as connection:
            return [_machine(connection, row) for row in rows(connection, schema.machine)]

    def note_fingerprint(self, machine_id: int, fingerprint: str) -> None:
        """Keep what the machine said of itself, unless it is what it said last."""
        table = schema.machine_fingerprint
        with self._writing() as connection:
            last = latest(connection, table, table.c.machine_id == machine_id)
            if last is None or last["fingerprint"] != fingerprint:
                self._insert(connection, table, machine_id=machine_id, fingerprint=fingerprint)

    def add_instrument(self, description: dict[str, Any]) -> int:
        """Keep an instrument's description (`name` in it); returns its number.

        Raises:
            InputError: without a name.
        """
        name = _name(description, "an instrument")
        with self._writing() as connection:
            number = self._named(connection, schema.instrument, name)
            self._insert(
                connection,
                schema.instrument_description,
                instrument_id=number,
                description=description,
            )
        return number

    def instrument(self, name: str) -> InstrumentRow | None:
        """The instrument of this name with its latest description and checks, or None."""
        return next((row for row in self.instruments() if row.name == name), None)

    def instruments(self) -> list[InstrumentRow]:
        """All instruments, oldest first."""
        with self._reading() as connection:
            return [_instrument(connection, row) for row in rows(connection, schema.instrument)]

    def add_instrument_check(self, name: str, details: dict[str, Any]) -> int:
        """Keep a check on a known length.

        Raises:
            InputError: no instrument of this name.
        """
        table = schema.instrument
        with self._writing() as connection:
            found = latest(connection, table, table.c.name == name)
            if found is None:
                raise InputError(
                    f"no instrument is called {name!r}", hint="Describe it first.", where="name"
                )
            return self._insert(
                connection, schema.instrument_check, instrument_id=found["id"], details=details
            )

    def keep(
        self,
        machine_id: int,
        *,
        raw: str,
        parsed: dict[str, Any],
        reason: str,
        standing: Standing,
        calibration_id: int | None = None,
    ) -> int:
        """Keep one complete settings report for ever; returns its number."""
        with self._writing() as connection:
            return self._insert(
                connection,
                schema.kept_state,
                machine_id=machine_id,
                calibration_id=calibration_id,
                raw=raw,
                parsed=parsed,
                reason=reason,
                standing=standing,
            )

    def kept(self, kept_id: int) -> KeptRow | None:
        """One kept state, or None."""
        table = schema.kept_state
        with self._reading() as connection:
            found = latest(connection, table, table.c.id == kept_id)
        return KeptRow(**found) if found else None

    def kept_states(self, machine_id: int) -> list[KeptRow]:
        """A machine's kept states, oldest first."""
        table = schema.kept_state
        with self._reading() as connection:
            return [
                KeptRow(**row) for row in rows(connection, table, table.c.machine_id == machine_id)
            ]

    def latest_kept(self, machine_id: int) -> KeptRow | None:
        """The state kept last of a machine, or None."""
        table = schema.kept_state
        with self._reading() as connection:
            found = latest(connection, table, table.c.machine_id == machine_id)
        return KeptRow(**found) if found else None

    def add_event(self, machine_id: int, kind: str, text: str) -> int:
        """Keep what happened to a machine."""
        with self._writing() as connection:
            return self._insert(
                connection, schema.event, machine_id=machine_id, kind=kind, text=text
            )

    def events(self, machine_id: int) -> list[EventRow]:
        """A machine's events, oldest first."""
        table = schema.event
        with self._reading() as connection:
            return [
                EventRow(**row) for row in rows(connection, table, table.c.machine_id == machine_id)
            ]

    def add_wire_log(
        self,
        calibration_id: int | None,
        machine_id: int,
        path: str,
        first_line: int,
        last_line: int,
    ) -> int:
        """Keep where on a wire log a stretch of work stands (lines from 1, both included)."""
        with self._writing() as connection:
            return self._insert(
                connection,
                schema.wire_log,
                machine_id=machine_id,
                calibration_id=calibration_id,
                path=path,
                first_line=first_line,
                last_line=last_line,
            )

    def wire_logs(self, calibration_id: int) -> list[WireLogRow]:
        """The stretches of wire log that belong to a calibration, oldest first."""
        table = schema.wire_log
        with self._reading() as connection:
            found = rows(connection, table, table.c.calibration_id == calibration_id)
        return [WireLogRow(**row) for row in found]


def _machine(connection: Connection, row: RowMapping) -> MachineRow:
    said, seen = schema.machine_description, schema.machine_fingerprint
    description = latest(connection, said, said.c.machine_id == row["id"])
    fingerprints = rows(connection, seen, seen.c.machine_id == row["id"])
    return MachineRow(
        **row,
        description=description["description"] if description else {},
        fingerprints=tuple(each["fingerprint"] for each in fingerprints),
    )


def _instrument(connection: Connection, row: RowMapping) -> InstrumentRow:
    said, checked = schema.instrument_description, schema.instrument_check
    description = latest(connection, said, said.c.instrument_id == row["id"])
    checks = rows(connection, checked, checked.c.instrument_id == row["id"])
    return InstrumentRow(
        **row,
        description=description["description"] if description else {},
        checks=tuple({"at": check["at"], **check["details"]} for check in checks),
    )
