"""Calibrations in the store: opened, found again, closed. One open per machine.

What is done in them stands in `trials` and `changes`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from asleft.errors import InputError, RefusedError
from asleft.record import schema
from asleft.record.rows import CalibrationRow, ConditionRow
from asleft.record.tables import Tables, rows

if TYPE_CHECKING:
    from sqlalchemy import Connection
    from sqlalchemy.sql.elements import ColumnElement


class Calibrations(Tables):
    """The part of the store about the frame of the work."""

    def open_calibration(
        self,
        machine_id: int,
        *,
        versions: dict[str, Any],
        person: str | None,
        conditions: dict[str, Any],
    ) -> int:
        """Open a calibration; returns its number.

        Raises:
            RefusedError: the machine has an open one.
        """
        table = schema.calibration
        with self._writing() as connection:
            # The machine's row is locked where the database has such locks, so that two
            # programs cannot both see "none open"; SQLite has one writer anyway.
            lock = schema.machine.select().where(schema.machine.c.id == machine_id)
            connection.execute(lock.with_for_update()).all()
            found = _calibrations(connection, table.c.machine_id == machine_id)
            for row in found:
                if row.closed_at is None:
                    raise RefusedError(
                        f"calibration {row.id} of this machine is still open",
                        hint="Go on with it, or close it with its record.",
                        where=f"calibration {row.id}",
                    )
            return self._insert(
                connection,
                table,
                machine_id=machine_id,
                versions=versions,
                person=person,
                conditions=conditions,
            )

    def open_calibration_of(self, machine_id: int) -> CalibrationRow | None:
        """The machine's open calibration, or None."""
        found = self.calibrations(machine_id)
        return next((row for row in reversed(found) if row.closed_at is None), None)

    def close_calibration(self, calibration_id: int, reason: str) -> None:
        """Close a calibration for good.

        Raises:
            InputError: no such calibration.
            RefusedError: it is closed.
        """
        with self._writing() as connection:
            self._demand_open(connection, calibration_id)
            self._insert(
                connection, schema.calibration_close, calibration_id=calibration_id, reason=reason
            )

    def _demand_open(self, connection: Connection, calibration_id: int) -> None:
        found = _calibrations(connection, schema.calibration.c.id == calibration_id)
        if not found:
            raise InputError(f"there is no calibration {calibration_id}", where="calibration")
        if found[0].closed_at is not None:
            raise RefusedError(
                f"calibration {calibration_id} was closed at {found[0].closed_at}",
                hint="Open a new one.",
            )

    def add_conditions(self, calibration_id: int, details: dict[str, Any]) -> int:
        """Keep what was said of the conditions of a calibration; returns the row's number.

        Raises:
            InputError: no such calibration.
            RefusedError: it is closed.
        """
        with self._writing() as connection:
            self._demand_open(connection, calibration_id)
            return self._insert(
                connection, schema.condition, calibration_id=calibration_id, details=details
            )

    def conditions_said(self, calibration_id: int) -> list[ConditionRow]:
        """All that was said of the conditions of a calibration, oldest first."""
        where = schema.condition.c.calibration_id == calibration_id
        with self._reading() as connection:
            return [ConditionRow(**row) for row in rows(connection, schema.condition, where)]

    def calibration(self, calibration_id: int) -> CalibrationRow | None:
        """One calibration, or None."""
        with self._reading() as connection:
            found = _calibrations(connection, schema.calibration.c.id == calibration_id)
        return found[0] if found else None

    def calibrations(self, machine_id: int | None = None) -> list[CalibrationRow]:
        """A machine's calibrations, or all, oldest first."""
        table = schema.calibration
        where = () if machine_id is None else (table.c.machine_id == machine_id,)
        with self._reading() as connection:
            return _calibrations(connection, *where)


def _calibrations(connection: Connection, *where: ColumnElement[bool]) -> list[CalibrationRow]:
    closed = {row["calibration_id"]: row for row in rows(connection, schema.calibration_close)}
    return [
        CalibrationRow(
            **row,
            closed_at=closed[row["id"]]["at"] if row["id"] in closed else None,
            close_reason=closed[row["id"]]["reason"] if row["id"] in closed else None,
        )
        for row in rows(connection, schema.calibration, *where)
    ]
