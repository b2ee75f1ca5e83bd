"""What every job at the bench has in reach: store, person, clock, and one machine.

Resolves which machine is meant, opens its line when a job first needs it, and files what is
read from it. Holds no job itself; `workshop` is the door.
"""

from __future__ import annotations

import platform
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import asleft
from asleft.bench.person import Ask, Person
from asleft.controller import MachineDescription, SettingsReport
from asleft.errors import InputError, RefusedError
from asleft.record import Store

if TYPE_CHECKING:
    from asleft.controller import Machine
    from asleft.record import KeptRow, MachineRow

Standing = Literal["in_force", "after_reset", "from_storage", "typed", "pasted"]
ON_PAPER = "machine on paper"
FOUND_HOT = Ask(
    "connect.hot",
    "The machine is hot and does not say whether it is printing. Is it idle? Yes switches its"
    " heaters off; no leaves it alone.",
    cautions=("A hot nozzle burns: keep hands away.",),
    action="approve",
)


class Desk:
    """Store, person and one machine.

    Args:
        home: where store, wire logs and reports live.
        person: whoever answers.
        holder: how others are told who holds the line (`terminal, pid 4711`).
        name: a machine described before, or None.
        address: a port or `socket://host:port`, or None for the described one.
        rate_baud: the line's rate, or None.
        clock: the time now, UTC.
    """

    def __init__(
        self,
        home: Path,
        person: Person,
        *,
        holder: str,
        name: str | None,
        address: str | None,
        rate_baud: int | None,
        clock: Callable[[], datetime],
    ) -> None:
        self.home = home
        self.person = person
        self.clock = clock
        self.store = Store.open(home, clock=clock)
        self._holder = holder
        self._name = name
        self._address = address
        self._rate_baud = rate_baud
        self._row: MachineRow | None = None
        self.connection: Machine | None = None
        self.commands_before = 0
        self._commands = self._chunks_filed = 0

    @property
    def row(self) -> MachineRow:
        """The machine meant: the one that answers on a given port, else the one described.

        One on paper where none was ever described.
        """
        if self._row is None and self._address is not None:
            self.connect()
        if self._row is None:
            self._row = self._described() or self._add(MachineDescription(name=ON_PAPER))
        return self._row

    @property
    def description(self) -> MachineDescription:
        """What the owner says about the machine."""
        return MachineDescription.from_dict(self.row.description)

    @property
    def description_unconnected(self) -> MachineDescription:
        """The same as far as it is known without asking the machine; else the defaults."""
        row = None if self._by_port_alone else self._described()
        known = MachineDescription(name=ON_PAPER)
        return MachineDescription.from_dict(row.description) if row else known

    @property
    def _by_port_alone(self) -> bool:
        """Whether only a port was given: who is there is learned by asking."""
        return self._row is None and self._name is None and self._address is not None

    @property
    def reachable(self) -> bool:
        """Whether there is an address to connect to."""
        if self.connection is not None or self._address is not None:
            return True
        row = self._described()
        return row is not None and row.description.get("address") is not None

    def connect(self) -> Machine:
        """The machine on its line, opened at the first call.

        Raises:
            InputError: no address is known.
            LineError: nobody answers, or another program holds the line.
        """
        if self.connection is None:
            self.connection = self._open()
        return self.connection

    def _open(self) -> Machine:
        from dataclasses import replace

        from asleft.controller import connect

        row = None if self._by_port_alone else self._described()
        known = row and MachineDescription.from_dict(row.description)
        address = self._address or (known.address if known else None)
        if address is None:
            raise InputError(
                "no port is known for this machine",
                hint="Give --port, or describe the machine with its port once.",
                where="--port",
            )
        wanted = known or MachineDescription(name=f"machine at {address}")
        wanted = replace(wanted, address=address, rate_baud=self._rate_baud or wanted.rate_baud)
        machine = connect(wanted, home=self.home, holder=self._holder)
        try:
            self._settle_heat(machine)
            machine.identify()
            self._row = row or self._recognised(machine) or self._add(wanted)
            self._recognise(machine)
        except BaseException:
            machine.close()
            raise
        machine.description = replace(self.description, address=address)
        return machine

    def _settle_heat(self, machine: Machine) -> None:
        """A machine found hot is printing, or was left hot: only its owner knows which."""
        if machine.printing is False or not machine.is_heated():
            return
        if not self.person.confirm(FOUND_HOT):
            raise RefusedError(
                "the machine is hot and may be printing: it was left alone",
                hint="Come back when the print has ended.",
                where=machine.facts.address,
            )
        machine.heat_off()

    def _described(self) -> MachineRow | None:
        if self._row is not None:
            return self._row
        if self._name is not None:
            row = self.store.machine(self._name)
            if row is None:
                raise InputError(
                    f"no machine is called {self._name!r}",
                    hint="`asleft machine list` shows those described.",
                    where="--machine",
                )
            return row
        rows = self.store.machines()
        if len(rows) > 1:
            raise InputError(
                "several machines are described and none is named",
                hint="Name one with --machine: " + ", ".join(r.name for r in rows) + ".",
                where="--machine",
            )
        return rows[0] if rows else None

    def _add(self, description: MachineDescription) -> MachineRow:
        if self.store.machine(description.name) is None:
            self.store.add_machine(description.to_dict())
        row = self.store.machine(description.name)
        assert row is not None  # noqa: S101 - it was added in the line before
        return row

    def _recognised(self, machine: Machine) -> MachineRow | None:
        """The machine that gave this fingerprint before, or the one with this address."""
        fingerprint = machine.identity.fingerprint if machine.identity else None
        for row in self.store.machines():
            if fingerprint and fingerprint in row.fingerprints:
                return row
        return None

    def _recognise(self, machine: Machine) -> None:
        """File the fingerprint; refuse a machine that answers as a different one did."""
        fingerprint = machine.identity.fingerprint if machine.identity else None
        if fingerprint and fingerprint not in self.row.fingerprints:
            for other in self.store.machines():
                if other.id != self.row.id and fingerprint in other.fingerprints:
                    raise InputError(
                        f"the machine on this port is {other.name!r}, not {self.row.name!r}",
                        hint="Name the other machine, or check the cable.",
                        where="--machine",
                    )
            self.store.note_fingerprint(self.row.id, fingerprint)

    def open_calibration(self) -> int | None:
        """The open calibration of this machine, or None."""
        row = self.store.open_calibration_of(self.row.id)
        return row.id if row else None

    def calibration(self) -> int:
        """The open calibration of this machine, opened now if there is none."""
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

    def kept_here(self) -> list[KeptRow]:
        """The kept states of the open calibration, oldest first."""
        calibration = self.calibration()
        return [k for k in self.store.kept_states(self.row.id) if k.calibration_id == calibration]

    def release(self) -> None:
        """Give the line up, heaters off first, so that the machine is nobody's but its own.

        A print from the memory card takes hours; a held line would guard against its heat.
        """
        if self.connection is None:
            return
        try:
            self.file_wire_log()
        finally:
            connection, self.connection = self.connection, None
            self.commands_before += self._commands
            self._chunks_filed = self._commands = 0
            connection.close()

    def file_wire_log(self) -> None:
        """Note in the store where on the wire log the work so far stands."""
        from asleft.link.wirelog import read_wire_log

        if self.connection is None:
            return
        path = self.connection.facts.wire_log
        chunks = list(read_wire_log(Path(path)))
        self._commands = sum(c.data.count(b"\n") for c in chunks if c.direction == ">")
        if len(chunks) > self._chunks_filed:
            calibration = self.open_calibration()
            first = self._chunks_filed + 1
            self.store.add_wire_log(calibration, self.row.id, path, first, len(chunks))
            self._chunks_filed = len(chunks)

    @property
    def commands_sent(self) -> int:
        """How many commands went over the line since the bench was set up."""
        self.file_wire_log()
        return self.commands_before + self._commands

    def close(self) -> None:
        """Make the machine safe, release its line, close the store."""
        try:
            self.release()
        finally:
            self.store.close()


def versions() -> dict[str, Any]:
    """What made the record: our version and those it depends on for its numbers."""
    import numpy as np

    return {
        "asleft": asleft.__version__,
        "python": platform.python_version(),
        "numpy": np.__version__,
        "system": platform.system(),
    }
