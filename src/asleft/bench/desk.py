"""What every job at the bench has in reach: store, person, clock, and one machine.

Files what is read from the machine under its open calibration. Holds no job itself; `workshop`
is the door. Stands on `at_hand` and the store.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from asleft.bench.line.at_hand import MachineAtHand
from asleft.bench.versions import versions
from asleft.controller import SettingsReport
from asleft.errors import InputError, RefusedError

if TYPE_CHECKING:
    from asleft.record import CalibrationRow, KeptRow

Standing = Literal["in_force", "after_reset", "from_storage", "typed", "pasted"]


class Desk(MachineAtHand):
    """The machine at hand, with its open calibration and its kept states."""

    def open_calibration(self) -> int | None:
        """The open calibration of this machine, or None."""
        row = self.store.open_calibration_of(self.row.id)
        return row.id if row else None

    def calibration(self) -> int:
        """The open calibration of this machine, opened now if there is none.

        Raises:
            LineError: the machine is in use on another laptop.
        """
        self.holding.hold(self.row.id)
        return self.open_calibration() or self.store.open_calibration(
            self.row.id, versions=versions(), person=None, conditions={}
        )

    def keep(self, report: SettingsReport, reason: str, standing: Standing) -> int:
        """File one settings report for ever; returns the kept state's number."""
        return self.store.keep(
            self.row.id,
            raw=report.raw,
            parsed=report.to_dict(),
            reason=reason,
            standing=standing,
            calibration_id=self.calibration(),
        )

    def kept(self, number: int) -> KeptRow:
        """One kept state of this machine.

        Raises:
            InputError: there is none of this number.
            RefusedError: it is another machine's.
        """
        kept = self.store.kept(number)
        if kept is None:
            raise InputError(
                f"there is no kept state {number}",
                hint="The numbers stand in the record and in what `asleft found` printed.",
                where="kept state",
            )
        if kept.machine_id != self.row.id:
            raise RefusedError(
                f"kept state {number} is of another machine",
                hint="Name a kept state of this machine, or the other machine.",
                where="kept state",
            )
        return kept

    def latest_calibration(self) -> int | None:
        """The open calibration, or the one closed last, or None."""
        rows = self.store.calibrations(self.row.id)
        return rows[-1].id if rows else None

    def calibration_meant(self, number: int | None) -> CalibrationRow:
        """The calibration of this number, or the latest one of this machine.

        Raises:
            InputError: there is none, or several machines are described and nothing says which.
            RefusedError: a machine is named, and it is another one's.
        """
        if number is not None and self.only_by_number:
            row = self.store.calibration(number)
        else:
            row = self._of_this_machine(number)
        if row is None:
            raise InputError(
                "there is no such calibration", hint="`asleft found` begins one.", where="record"
            )
        return row

    def _of_this_machine(self, number: int | None) -> CalibrationRow | None:
        calibrated = [row for row in self.store.machines() if self.store.calibrations(row.id)]
        only = number is None and self._name is None and len(calibrated) == 1
        machine = calibrated[0] if only else self.described()
        if machine is None:
            return None
        if number is None:
            return next(reversed(self.store.calibrations(machine.id)), None)
        row = self.store.calibration(number)
        if row is not None and row.machine_id != machine.id:
            raise RefusedError(
                f"calibration {number} is of another machine than {machine.name!r}",
                hint="Give the number alone, or the machine alone for its latest.",
                where="calibration",
            )
        return row

    def kept_here(self) -> list[KeptRow]:
        """The kept states of the open calibration, oldest first."""
        return self.kept_in(self.calibration())

    def kept_in(self, calibration: int) -> list[KeptRow]:
        """The kept states of one calibration of this machine, oldest first."""
        return [k for k in self.store.kept_states(self.row.id) if k.calibration_id == calibration]
