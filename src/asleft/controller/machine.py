"""One machine under limits: identified, read, changed, heated, fed, and left safe.

Every way in goes through here, so that every way has the same limits and interlocks. It gathers
the small rooms beside it and holds what belongs to the session. Not for deciding anything.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from types import TracebackType

from asleft.controller.asking import Asker, tell_also
from asleft.controller.capabilities import (
    Identity,
    parse_card_progress,
    parse_identity,
    parse_position,
    parse_temperatures,
)
from asleft.controller.codes import cool_codes
from asleft.controller.description import MachineDescription
from asleft.controller.heat import ANSWER_S, Heat, Progress, Warming
from asleft.controller.limits import guard_limits
from asleft.controller.motion import Motion
from asleft.controller.overrides import Neutral, cold_feed_allowed, neutral_feed
from asleft.controller.reading import SettingsReader
from asleft.controller.report import SettingsReport
from asleft.controller.restarts import RestartWatch
from asleft.controller.storage import reload, store
from asleft.controller.writing import checked_settings, loses_its_place, setting_lines
from asleft.errors import AsleftError, MachineResetError
from asleft.link.answer import Line, LineFacts, Notice
from asleft.units import LINEAR_AXES

_STANDSTILL_S = 0.4  # a printing carriage has moved after this (ours)


class Machine:
    """A connected machine. As a context manager it is made safe on every way out.

    Args:
        line: the open line.
        description: what its owner says of it; every limit comes from here.
        clock: seconds, for bounds that come from physics.
        pause: waits the given seconds between two questions.
    """

    def __init__(
        self,
        line: Line,
        description: MachineDescription,
        *,
        clock: Callable[[], float] = time.monotonic,
        pause: Callable[[float], None] = time.sleep,
    ) -> None:
        self.identity: Identity | None = None
        self.printing: bool | None = None  # as it said on opening
        self._report: SettingsReport | None = None
        self._report_restarts = 0
        self._asker = Asker(line)
        self._clock, self._pause = clock, pause
        self._heat = Heat(self._asker, description, clock=clock, pause=pause)
        self._motion = Motion(self._asker, description, self._heat)
        self._reader = SettingsReader(self._asker)
        self.restarted = RestartWatch(self._asker, clock=clock, pause=pause).restarted
        self.temperatures = self._heat.temperatures
        self.home = self._motion.home
        self.move = self._motion.move
        self.feed = self._motion.feed
        self.position = self._motion.position

    @property
    def facts(self) -> LineFacts:
        """Address, rate, wire log, and whether the board restarted on opening."""
        return self._asker.line.facts

    @property
    def description(self) -> MachineDescription:
        """What its owner says of it; every limit comes from here."""
        return self._motion.description

    @description.setter
    def description(self, described: MachineDescription) -> None:
        """Its limits and tools bind from now on, also in the process that owns the line."""
        self._asker.line.limit(guard_limits(described), tuple(cool_codes(described.tools)))
        self._motion.description = self._heat.description = described

    @property
    def restarts(self) -> int:
        """How many restarts were noticed in this session, told or not."""
        self._asker.hear()
        return self._asker.restarts

    @property
    def homed(self) -> frozenset[str]:
        """The axes that are homed, as far as we know."""
        return frozenset(self._asker.homed)

    @property
    def storage(self) -> str:
        """Whether it can store: `yes`, `no` or `unknown`, by what it says of itself."""
        told = self.identity.capabilities.get("EEPROM") if self.identity else None
        return "unknown" if told is None else ("yes" if told else "no")

    def notices(self) -> list[Notice]:
        """What the machine said unasked since the last call."""
        return self._asker.unasked()

    def identify(self) -> Identity:
        """Ask who it is; a machine that does not say is an identity without fields."""
        heard = self._asker.ask("M115", within_s=ANSWER_S, may_refuse=True)
        lines = [*heard.answer.lines, heard.answer.acknowledged]
        self.identity = parse_identity([] if heard.unknown else lines)
        return self.identity

    def is_printing(self) -> bool | None:
        """Whether it is printing: true, false, or None where it cannot be told.

        `Not printing` from the card says nothing of a print that comes another way, so a
        carriage that moves or a hot nozzle outweighs it. Asks nothing that could disturb.
        """
        before = self._asker.ask("M27", within_s=ANSWER_S, may_refuse=True)
        start = self._where()
        self._pause(_STANDSTILL_S)
        card = parse_card_progress(before.texts)
        if self._where() != start or (card is not None and card[1] > 0):
            return True
        says_not = any("not" in t.lower() and "print" in t.lower() for t in before.texts)
        heated = self._asker.ask("M105", within_s=ANSWER_S, may_refuse=True).texts
        hot = any(t.target_c for t in parse_temperatures(heated).values())
        return False if (says_not or card is not None) and not hot else None

    def read_settings(self) -> SettingsReport:
        """The settings in force, believed after two like readings; see `SettingsReader`."""
        self._report = self._reader.read()
        self._report_restarts = self._asker.restarts
        return self._report

    def set_values(self, values: Mapping[str, float]) -> list[str]:
        """Set steps, skew factors or arm geometry; reading back is the caller's next step.

        Args:
            values: by name: `X Y Z E E0 …` per mm, `XY XZ YZ` factors, `L R` in mm.

        Returns:
            The lines that were sent.

        Raises:
            InputError: a name this machine lacks or an impossible value; nothing was sent.
            MachineError: refused; the lines before it are in force.
        """
        lines = setting_lines(values, self._known_report())
        self._send_in_mm(lines)
        return lines

    def send_raw_settings(self, lines: Iterable[str]) -> list[str]:
        """Put lines of a kept state back, as they are.

        Raises:
            RefusedError: a line that heats, moves, stores or resets; nothing was sent.
            MachineError: refused; the lines before it are in force.
        """
        commands = checked_settings(lines)
        self._send_in_mm(commands)
        return commands

    def store(self) -> bool | None:
        """Store everything that is in force (M500); None where it says nothing, see `store`."""
        return store(self._asker)

    def reload_stored(self, *, discard_unstored: bool) -> SettingsReport:
        """Reload what is stored (M501) and read it. Discards what was not stored.

        Raises:
            RefusedError: the caller does not say that the unstored may go; nothing was sent.
        """
        reload(self._asker, discard_unstored=discard_unstored)
        return self.read_settings()

    def heat(self, tool: int, target_c: float, *, progress: Progress | None = None) -> None:
        """Warm a tool up to `target_c` °C and wait until it is steady; see `Heat.heat`."""
        self._heat.heat(tool, target_c, progress=progress)

    def is_heated(self) -> bool:
        """Whether any heater has a target above 0."""
        return any(one.target_c for one in self.temperatures().values())

    @property
    def warming(self) -> Warming | None:
        """The wait for a heater that is on, with what was seen so far; None where there is none."""
        return self._heat.warming

    def heat_off(self) -> None:
        """All heaters off, read back."""
        self._heat.off()

    @contextmanager
    def neutral_feed(self, *, detached: bool = False) -> Iterator[Neutral]:
        """Feed exactly what is commanded; what was found is put back on every way out.

        Args:
            detached: the tube is off the hot end: the cold-feed guard is off meanwhile.
        """
        report = self._known_report()
        with neutral_feed(self._asker, report, tools=self.description.tools) as found:
            if not detached:
                yield found
                return
            with cold_feed_allowed(self._asker):
                self._motion.guard_is_off = True
                try:
                    yield found
                finally:
                    self._motion.guard_is_off = False

    def make_safe(self) -> None:
        """Heaters off and read back, then motors off; a restart meanwhile is told by the next.

        Raises:
            LineError, MachineError: it could not be confirmed; names the power switch. At once
                where that was just tried in vain; it is tried on behind the scenes.
        """
        try:
            self._heat.off()
        except MachineResetError:
            self._heat.off()  # a restart put the heaters off; make sure all the same
            self._asker.restarts_are_untold()
            return
        self._asker.homed -= set(LINEAR_AXES)
        self._asker.ask("M84", within_s=ANSWER_S, may_refuse=True)

    def stop(self) -> None:
        """Stop and heaters off, ahead of everything that waits. May be called by a signal."""
        self._asker.stop()

    def close(self) -> None:
        """Put units back and release the line, which makes the machine safe if it may be hot."""
        try:
            with suppress(AsleftError):  # a restart puts them back as well
                self._reader.put_units_back()
        finally:
            self._asker.line.close()

    def __enter__(self) -> Machine:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        failure: AsleftError | None = None
        for leave in (self._leave, self.close):
            try:
                leave()
            except AsleftError as other:
                failure = failure or other
        if failure is not None and error is None:
            raise failure
        if failure is not None and error is not None:
            tell_also(error, failure)

    def _leave(self) -> None:
        """Made safe, save where it was only asked: it may be printing for somebody else."""
        if self._asker.has_acted or self.printing is False:
            self.make_safe()

    def _known_report(self) -> SettingsReport:
        """The last report of this session; read anew after a restart."""
        self._asker.hear()
        if self._report is None or self._report_restarts != self._asker.restarts:
            return self.read_settings()
        return self._report

    def _where(self) -> dict[str, float]:
        return parse_position(self._asker.ask("M114", within_s=ANSWER_S, may_refuse=True).texts)

    def _send_in_mm(self, lines: Iterable[str]) -> None:
        self._asker.ask("G21", within_s=ANSWER_S, may_refuse=True)
        for line in lines:
            self._asker.homed -= set(LINEAR_AXES) if loses_its_place(line) else set()
            self._asker.ask(line, within_s=ANSWER_S, awaited="a setting")
