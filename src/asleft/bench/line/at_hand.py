"""One machine at the bench: which one is meant, its line, and what it is guarded by.

The line is opened when a job first needs it. Not for jobs, and not for filing what they read
(see `desk`). Stands on `opening`, `recognising` and the store.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from asleft.bench.line.filing import WireFiling
from asleft.bench.line.holding import Holding
from asleft.bench.line.opening import may_be_left_hot, settle_heat, to_open
from asleft.bench.line.recognising import ON_PAPER, described_at, meant, recognise
from asleft.bench.person import Person
from asleft.controller import MachineDescription, connect
from asleft.errors import Stopped, StoreAwayError
from asleft.record import Store, Workplace

if TYPE_CHECKING:
    from asleft.controller import Machine
    from asleft.record import MachineRow


class MachineAtHand:
    """One machine, described or only reachable, and its line.

    Args:
        home: where store, wire logs and reports live; a workplace where the store is shared.
        person: whoever answers.
        holder: how others are told who holds the line (`terminal, pid 4711`).
        name: a machine described before, or None.
        address: a port or `socket://host:port`, or None for the described one.
        rate_baud: the line's rate, or None.
        clock: the time now, UTC.
        open_machine: opens a described machine, as `connect` does.
    """

    def __init__(
        self,
        home: Path | Workplace,
        person: Person,
        *,
        holder: str,
        name: str | None,
        address: str | None,
        rate_baud: int | None,
        clock: Callable[[], datetime],
        open_machine: Callable[..., Machine] = connect,
    ) -> None:
        workplace = Workplace.of(home)
        self.home = workplace.folder
        self.person = person
        self.clock = clock
        self.store = Store.at(workplace, clock=clock)
        self._holder = holder
        self._open_machine = open_machine
        self._name = name
        self._address = address
        self._rate_baud = rate_baud
        self._row: MachineRow | None = None
        self.connection: Machine | None = None
        self._stopped = False
        self._filing = WireFiling(self.store)
        self._filed_under: int | None = None
        self.store.tell_to(person.tell)
        self.holding = Holding(self.store, self.home, holder=holder, tell=person.tell)

    @property
    def row(self) -> MachineRow:
        """The machine meant: the one that answers on a given port, else the one described.

        One on paper where none was ever described.
        """
        if self._row is None and self._address is not None:
            self.connect()
        if self._row is None:
            self._row = self.described() or self._add(MachineDescription(name=ON_PAPER))
        return self._row

    @property
    def description(self) -> MachineDescription:
        """What the owner says about the machine."""
        return MachineDescription.from_dict(self.row.description)

    @property
    def description_unconnected(self) -> MachineDescription:
        """The same as far as it is known without asking the machine; else the defaults."""
        row = self._likely() if self._by_port_alone else self.described()
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
        row = self.described()
        return row is not None and row.description.get("address") is not None

    def connect(self) -> Machine:
        """The machine on its line, opened at the first call.

        Raises:
            InputError: no address is known.
            LineError: nobody answers, or another program or laptop holds the machine.
            Stopped: a stop came while the line was being opened.
        """
        if self._row is not None:
            self.holding.hold(self._row.id)  # also on an open line: another laptop may have it now
        if self.connection is None:
            self._stopped = False
            self.connection = self._open()
            if self._stopped:  # it came before there was a line that it could reach
                raise Stopped("stopped while the line was being opened", where=self._name)
        return self.connection

    def stop(self) -> None:
        """Stop and heaters off, ahead of everything; callable from a signal handler."""
        self._stopped = True
        if self.connection is not None:
            self.connection.stop()

    def _open(self) -> Machine:
        named = None if self._by_port_alone else self.described()
        presumed = named or self._likely()
        wanted = to_open(presumed, self._address, self._rate_baud)
        if presumed is not None:
            self.holding.hold(presumed.id)
        self.store.require_sound()  # what cannot be kept is not begun: nothing was sent yet
        machine = self._open_machine(
            wanted,
            home=self.home,
            holder=self._holder,
            heaters_off_first=may_be_left_hot(self.store, presumed),
        )
        try:
            self._row = recognise(self.store, self.person, machine, named=named, unknown=wanted)
            self.holding.hold(self._row.id)
            self._guard(machine)
            settle_heat(machine, self.person)
        except BaseException:
            machine.close()
            raise
        return machine

    def _likely(self) -> MachineRow | None:
        """The one machine described with the address given: it is guarded as that one at first."""
        rows = described_at(self.store, self._address) if self._address else []
        return rows[0] if len(rows) == 1 else None

    def _guard(self, machine: Machine) -> None:
        """Have it guarded by what its owner says of it: who it is was learned only now."""
        opened = machine.description
        machine.description = replace(
            self.description, address=opened.address, rate_baud=opened.rate_baud
        )

    @property
    def only_by_number(self) -> bool:
        """Whether nothing says which machine is meant: no name, no port, no open line."""
        return self._row is None and self._name is None and self._address is None

    def described(self) -> MachineRow | None:
        """The machine meant as far as the store tells; None where none was ever described."""
        return self._row or meant(self.store, self._name)

    def _add(self, description: MachineDescription) -> MachineRow:
        if self.store.machine(description.name) is None:
            self.store.add_machine(description.to_dict())
        row = self.store.machine(description.name)
        assert row is not None  # noqa: S101 - it was added in the line before
        return row

    def described_anew(self, name: str) -> None:
        """A description of this name was filed: it counts from now on, on an open line as well."""
        if self._row is None or self._row.name != name:
            return
        self._row = self.store.machine(name)
        if self.connection is not None:
            self._guard(self.connection)

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
            self._filing.ended()
            connection.close()

    def file_wire_log(self) -> None:
        """Note in the store where on the wire log the work so far stands."""
        if self.connection is None:
            return
        try:
            calibration = self.store.open_calibration_of(self.row.id)
            self._filed_under = calibration.id if calibration else None
        except StoreAwayError:  # then under what was open when it was asked last
            pass
        self._filing.file(
            self.connection.facts.wire_log,
            machine_id=self.row.id,
            calibration_id=self._filed_under,
        )

    @property
    def commands_sent(self) -> int:
        """How many commands went over the line since the bench was set up."""
        self.file_wire_log()
        return self._filing.commands

    def close(self) -> None:
        """Make the machine safe, release its line, let go of it, close the store."""
        try:
            self.release()
        finally:
            self.holding.release()
            self.store.close()
