"""The bench's one door: a `Bench` with a method for every job.

Each method returns the JSON object that `docs/reference.md` describes and raises only errors
of our tree. Terminal, page and practice call nothing else.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import UTC, datetime
from types import TracebackType
from typing import TYPE_CHECKING, Any, Self

from asleft.bench import describing, proposing
from asleft.bench.change import changing, found
from asleft.bench.desk import Desk
from asleft.bench.person import Person
from asleft.bench.trial import proving, resuming, trying
from asleft.bench.versions import versions
from asleft.bench.years import undoing
from asleft.controller import connect, tell_also
from asleft.errors import AsleftError

if TYPE_CHECKING:
    from pathlib import Path

    from asleft.controller import Machine
    from asleft.controller.heat import Warming
    from asleft.record import Workplace
    from asleft.units import Typed


class Bench:
    """One machine at one bench; use it as a context manager.

    Args:
        home: the folder of store, wire logs and reports; a workplace where the store is shared.
        person: whoever answers the questions.
        holder: how a second program is told who holds the line.
        machine: name of a described machine, or None for the only one.
        address: a port or `socket://host:port`, or None for the described one.
        rate_baud: the line's rate, or None.
        clock: the time now in UTC.
        open_machine: opens a described machine, as `asleft.controller.connect` does.
    """

    def __init__(
        self,
        home: Path | Workplace,
        person: Person,
        *,
        holder: str,
        machine: str | None = None,
        address: str | None = None,
        rate_baud: int | None = None,
        clock: Callable[[], datetime] = lambda: datetime.now(UTC),
        open_machine: Callable[..., Machine] = connect,
    ) -> None:
        self._desk = Desk(
            home,
            person,
            holder=holder,
            name=machine,
            address=address,
            rate_baud=rate_baud,
            clock=clock,
            open_machine=open_machine,
        )

    def __enter__(self) -> Self:
        """Nothing is opened before a job needs it."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Heaters off, line released, store closed, on every way out.

        A failure of that is told with the error that led here, never instead of it.
        """
        try:
            self._desk.close()
        except AsleftError as failure:
            if error is None:
                raise
            tell_also(error, failure)

    def stop_now(self) -> None:
        """Stop and heaters off, ahead of everything; callable from a signal handler."""
        self._desk.stop()

    @property
    def reachable(self) -> bool:
        """Whether there is a port to connect to."""
        return self._desk.reachable

    @property
    def warming(self) -> Warming | None:
        """The wait for a heater that is on, as far as it has come; readable from any thread."""
        connection = self._desk.connection
        return None if connection is None else connection.warming

    @property
    def commands_sent(self) -> int:
        """How many commands went over the line so far."""
        return self._desk.commands_sent

    def describe_machine(self, description: Mapping[str, Any]) -> dict[str, Any]:
        """File what the owner says about a machine, over what was said before; as `machine`."""
        return describing.describe_machine(self._desk, description)

    def machine(self, name: str | None) -> dict[str, Any]:
        """The machine named, or the only one: its description and `fingerprints`."""
        return describing.shown_machine(self._desk, name)

    def machines(self) -> list[dict[str, Any]]:
        """All machines, each as `machine` shows it."""
        return describing.machines(self._desk)

    def describe_instrument(self, description: Mapping[str, Any]) -> dict[str, Any]:
        """File what is known of an instrument, over what was said before; as filed."""
        return describing.describe_instrument(self._desk, description)

    def instruments(self) -> list[dict[str, Any]]:
        """All instruments as described, with the number of their `checks`."""
        return describing.instruments(self._desk)

    def check_instrument(
        self, name: str, readings: Sequence[Typed], *, nominal_mm: float, u_mm: float
    ) -> dict[str, Any]:
        """Keep readings of a known length, in mm; the check as filed."""
        return describing.check_instrument(
            self._desk, name, readings, nominal_mm=nominal_mm, u_mm=u_mm
        )

    def found(self) -> dict[str, Any]:
        """Read and keep what the machine holds; `asleft.found/1`."""
        return found.found(self._desk)

    def found_from_report(self, text: str, source: str) -> dict[str, Any]:
        """Keep a pasted settings report; `asleft.found/1`."""
        return found.found_in_text(self._desk, text, source=source)

    def found_from_steps(self, steps: Mapping[str, float]) -> dict[str, Any]:
        """Keep typed steps per mm; `asleft.found/1`."""
        return found.found_typed(self._desk, steps)

    def trial_steps(self, kind: str, options: Mapping[str, Any]) -> list[str]:
        """What a trial would do and command, line by line; nothing is run."""
        from asleft.trials import check, for_machine, listing

        machine = self._desk.description_unconnected
        trial = for_machine(kind, options, machine)
        check(trial, machine)
        return listing(trial.steps, machine)

    def trial(self, kind: str, options: Mapping[str, Any]) -> dict[str, Any]:
        """Begin or resume a trial and conclude it; `asleft.trial/1`."""
        return trying.attempt(self._desk, kind, options)

    def give_up(self, kinds: Iterable[str]) -> None:
        """End the unfinished trials of these kinds, their readings in the record."""
        for kind in kinds:
            resuming.give_up(self._desk, kind)

    def stream(self, text: str, *, paused: Callable[[], bool] = lambda: False) -> dict[str, Any]:
        """Print a file of plain codes over the line, attended; see `streaming.stream`."""
        from asleft.bench.streaming import stream

        return stream(self._desk, text, paused=paused)

    def set(
        self,
        values: Mapping[str, float] | None = None,
        *,
        from_findings: bool,
        store: bool,
        far: bool = False,
    ) -> dict[str, Any]:
        """Set values, read them back, store if asked; `asleft.set/1`."""
        return changing.set_values(
            self._desk, values, from_findings=from_findings, store=store, far=far
        )

    def entered(self, told: Mapping[str, Any]) -> None:
        """Wait for the person's word that a change handed over is entered; see `handing`."""
        from asleft.bench.change.handing import entered

        entered(self._desk, told)

    def conditions(self, said: Mapping[str, Any] | None = None) -> dict[str, Any]:
        """Keep what is said of this evening's conditions, and tell it; `asleft.conditions/1`."""
        from asleft.bench import circumstances

        return circumstances.say(self._desk, said or {})

    def event(self, kind: str, text: str = "") -> dict[str, Any]:
        """File what happened to the machine and what it undoes; `asleft.event/1`."""
        return undoing.note_event(self._desk, kind, text)

    def due(self) -> dict[str, Any]:
        """What should be looked at again, and why; `asleft.due/1`."""
        return undoing.due(self._desk)

    def history(self, machine: str | None = None) -> dict[str, Any]:
        """What the years of a machine, or of all, have shown; `asleft.history/1`."""
        from asleft.bench.years.history import history

        return history(self._desk.store, machine, self._desk.clock())

    def standing(self) -> dict[str, Any]:
        """How far the work on this machine is; `asleft.standing/1`."""
        return proposing.standing(self._desk)

    def last_calibration(self) -> int | None:
        """The number of this machine's last calibration, or None where there is none."""
        rows = self._desk.store.calibrations(self._desk.row.id)
        return rows[-1].id if rows else None

    def propose(self, door: proposing.Door, replaced: str | None = None) -> dict[str, Any]:
        """The jobs for this evening and why; `asleft.evening/1`."""
        return proposing.propose(self._desk, door, replaced)

    def findings(self) -> tuple[list[dict[str, Any]], bool]:
        """Results of the last trials that still stand, and whether steps were set by them."""
        return undoing.standing_findings(self._desk)

    def undo(self) -> dict[str, Any]:
        """Put back what this calibration changed; `asleft.undo/1`."""
        return changing.undo(self._desk)

    def restore(self, kept_id: int, *, everything: bool) -> dict[str, Any]:
        """Put back a kept state; `asleft.restore/1`."""
        return changing.restore(self._desk, kept_id, everything=everything)

    def prove(
        self,
        *,
        power_cycled: bool = False,
        power_cycle_now: bool = False,
        readings: tuple[str, str] | None = None,
    ) -> dict[str, Any]:
        """Prove a power cycle (made, or to be made now) or a second piece; `asleft.prove/1`."""
        if power_cycled or power_cycle_now:
            return proving.prove_power_cycle(self._desk, persons_word=power_cycled)
        return proving.prove_piece(self._desk, {"readings": readings})

    def record(
        self, calibration_id: int | None = None, *, close: bool, whole: bool = True
    ) -> dict[str, Any]:
        """The record of a calibration, closing it if asked; `asleft.record/1`.

        Without a number, the latest one of this machine. One that is not `whole`, for looking at,
        lacks drawings, years and the digest of all.
        """
        from asleft.bench.years.up_to import years_up_to
        from asleft.record import assemble, gather

        row = self._desk.calibration_meant(calibration_id)
        self._desk.file_wire_log()
        store = self._desk.store
        if close and row.closed_at is None:
            self._desk.holding.hold(row.machine_id)
            store.close_calibration(row.id, "the record was made")
            row = self._desk.calibration_meant(row.id)
        if not whole:
            return gather(store, row.id, versions=versions())
        return assemble(store, row.id, versions=versions(), years=years_up_to(store, row))
