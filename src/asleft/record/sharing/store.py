"""A store on a server, as one laptop sees it: what is measured is never lost when it goes away.

What a running trial appends is first kept on this computer, then delivered once and in order;
while the server is away the trial goes on, on what is known of it. Everything else needs the
server. How rows wait and come in stands in `waiting`. Stands on the store.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from asleft.errors import InputError, StoreAwayError
from asleft.record.rows import MachineRow, ReadingRow, StepRow
from asleft.record.sharing.leases import Leases
from asleft.record.sharing.waiting import Waiting
from asleft.record.store import Store
from asleft.record.trials import StepState, next_take, taken_before


@dataclass
class Known:
    """What is known of a running trial: as the server told it last, and what was added here."""

    at: str
    steps: list[StepRow] = field(default_factory=list)
    readings: list[ReadingRow] = field(default_factory=list)


class SharedStore(Leases, Waiting, Store):
    """The store on a server, open on a laptop that `keep_in` gave a place for what waits."""

    def keep_in(self, home: Path) -> None:
        """As `Waiting.keep_in`; nothing is known of any trial yet."""
        self._known: dict[int, Known] = {}
        self._machine_at: dict[int, str] = {}
        self._number = 0  # of rows that have none from the server yet; below 0
        super().keep_in(home)

    # What a running trial appends.

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
        """As `Trials.add_reading`; kept here first. The number is this laptop's until delivered."""
        known = self._trial_known(trial_id)
        take = next_take(taken_before(known.readings), key, raw)
        told: dict[str, Any] = {
            "key": key,
            "place": place,
            "value": value,
            "raw": raw,
            "unit": unit,
        }
        at = self._put(
            f"trial-{trial_id}", "reading", known.at, trial_id=trial_id, **told, done=done
        )
        row = ReadingRow(self._no_number(), at, trial_id, take=take, person=self._person, **told)
        known.readings.append(row)
        if done is not None:
            mark = StepRow(row.id, at, trial_id, key, "done", done, person=self._person)
            known.steps.append(mark)
        return row.id

    def mark_step(
        self, trial_id: int, key: str, state: StepState, details: dict[str, Any] | None = None
    ) -> int:
        """As `Trials.mark_step`; kept here first."""
        known = self._trial_known(trial_id)
        told: dict[str, Any] = {"key": key, "state": state, "details": details or {}}
        at = self._put(f"trial-{trial_id}", "step_mark", known.at, trial_id=trial_id, **told)
        known.steps.append(StepRow(self._no_number(), at, trial_id, person=self._person, **told))
        return known.steps[-1].id

    def void_reading(self, reading_id: int, reason: str) -> None:
        """As `Trials.void_reading`; kept here first where the reading is of a running trial."""
        for trial_id, known in self._known.items():
            for n, row in enumerate(known.readings):
                if row.id == reading_id and not row.voided:
                    told = {"key": row.key, "read_at": row.at, "reason": reason}
                    lane = f"trial-{trial_id}"
                    self._put(lane, "reading_void", known.at, trial_id=trial_id, **told)
                    known.readings[n] = replace(row, void_reason=reason)
                    return
        super().void_reading(reading_id, reason)

    def add_wire_log(
        self,
        calibration_id: int | None,
        machine_id: int,
        path: str,
        first_line: int,
        last_line: int,
    ) -> int:
        """As `Machines.add_wire_log`; kept here first."""
        told = {"calibration_id": calibration_id, "path": path}
        lines = {"first_line": first_line, "last_line": last_line}
        if machine_id not in self._machine_at:
            self.machines()
        at = self._machine_at[machine_id]
        self._put(f"machine-{machine_id}", "wire_log", at, machine_id=machine_id, **told, **lines)
        return self._no_number()

    # What a running trial reads, also while the server is away.

    def steps(self, trial_id: int) -> list[StepRow]:
        """As `Trials.steps`; while the server is away, as known here."""
        try:
            found = super().steps(trial_id)
        except StoreAwayError:
            if trial_id not in self._known:
                raise
            return list(self._known[trial_id].steps)
        self._trial_known(trial_id).steps = list(found)
        return found

    def readings(self, trial_id: int) -> list[ReadingRow]:
        """As `Trials.readings`; while the server is away, as known here."""
        try:
            found = super().readings(trial_id)
        except StoreAwayError:
            if trial_id not in self._known:
                raise
            return list(self._known[trial_id].readings)
        self._trial_known(trial_id).readings = list(found)
        return found

    def machines(self) -> list[MachineRow]:
        """As `Machines.machines`."""
        found = super().machines()
        self._machine_at.update({row.id: row.at for row in found})
        return found

    def _trial_known(self, trial_id: int) -> Known:
        if trial_id not in self._known:
            row = self.trial(trial_id)
            if row is None:
                raise InputError(f"there is no trial {trial_id}", where="trial")
            known = Known(row.at)
            known.steps, known.readings = super().steps(trial_id), super().readings(trial_id)
            self._known[trial_id] = known
        return self._known[trial_id]

    def _no_number(self) -> int:
        self._number -= 1
        return self._number
