"""The practice controller: bytes in, bytes out, one command after the other.

Strict where real ones are: it counts lines, asks again, refuses, loses what overflows its buffer,
and obeys three commands ahead of the queue. What the commands do stands in `commands`; transports
stand above. Stands on `wire`, `settings`, `motion`, `heat` and the own clock.
"""

from __future__ import annotations

import asyncio
import contextlib
import inspect
import os
import traceback
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

from asleft.practice.board import commands, telling
from asleft.practice.board.watching import watch
from asleft.practice.body.heat import Heater
from asleft.practice.body.motion import Planner
from asleft.practice.clock import Clock
from asleft.practice.words.faults import Faults, Trickle
from asleft.practice.words.kinds import Kind
from asleft.practice.words.settings import Settings
from asleft.practice.words.wire import LINE_LIMIT, URGENT, LineCounter, LineRefusedError, parse

RECEIVE_BYTES = 1024
"""Bytes that may wait unread; what comes on top is lost (ours)."""
BUSY_EVERY_S = 2.0
BOOT_S = 1.5
IDLE_EVERY_S = 1.0


@dataclass
class Modes:
    """What a reset puts back: units, absolute or not, overrides, guard, reports."""

    absolute: bool = True
    feed_absolute: bool = True
    offset_mm: dict[str, float] = field(default_factory=lambda: dict.fromkeys("XYZE", 0.0))
    rate_mm_min: float = 1500.0
    speed_percent: float = 100.0
    flow_percent: float = 100.0
    cold_guard: bool = True
    cold_below_c: float = 170.0
    fan: int = 0
    report_every_s: float = 0.0


class Controller:
    """One controller board.

    Args:
        kind: what it drives.
        settings: in force and in storage.
        clock: the own clock.
        feed: told of every motor length pushed (mm at true steps, mm/min).
        feed_ratio: true length over commanded, from the E steps in force.
        identity: the UUID it tells.
    """

    def __init__(
        self,
        *,
        kind: Kind,
        settings: Settings,
        clock: Clock,
        feed: Callable[[float, float], None],
        feed_ratio: Callable[[], float],
        identity: str,
    ) -> None:
        self.kind, self.settings, self.clock = kind, settings, clock
        self.feed_ratio, self.identity = feed_ratio, identity
        self.planner = Planner(feed)
        tools = range(kind.dialect.tools)
        self.nozzles = [Heater(330.0, 95.0, kind.nozzle_limit_c) for _ in tools]
        self.nozzle = self.nozzles[0]
        self.bed = Heater(130.0, 250.0, kind.bed_limit_c)
        self.dialect = kind.dialect
        self.modes, self.faults = Modes(), Faults()
        self.counter = LineCounter(numbering=self.dialect.numbering)
        self.output: Callable[[bytes], None] | None = None
        self.received: deque[tuple[float, str]] = deque(maxlen=5000)
        self.halted = self.booting = self.printing = False
        self.tool = 0
        self.hurried = False  # waits take own time only: the card prints while nobody looks on
        self.refused: list[str] = []
        self.cuts: set[str] = set()
        self.tail = ""
        self._held: list[str] | None = None
        self._partial, self._trickle = b"", Trickle()
        self._waiting: deque[bytes] = deque()
        self._arrived, self.urgent = asyncio.Event(), asyncio.Event()
        self._tasks: list[asyncio.Task[None]] = []

    # The wire

    def receive(self, data: bytes) -> None:
        """Take bytes from the wire. What overflows is lost, as on a small board."""
        if self.booting:
            return
        room = RECEIVE_BYTES - sum(map(len, self._waiting))
        *lines, self._partial = (
            (self._partial + data[: max(0, room)]).replace(b"\r", b"\n").split(b"\n")
        )
        self._partial = self._partial[: LINE_LIMIT + 1]
        for line in filter(bytes.strip, lines):
            text = line.decode("ascii", "replace")
            self.received.append((self.clock.now_s(), text))
            urgent = URGENT.match(text)
            if urgent:
                commands.obey_urgent(self, urgent[1])
            self._waiting.append(line)
        self._arrived.set()

    def say(self, line: str) -> None:
        """Send one line; while an answer goes behind the acknowledgement, keep it."""
        if self._held is not None:
            self._held.append(line)
            return
        data = self.faults.spoil((self.dialect.worded(line) + self.dialect.line_end).encode())
        if self.output is not None and data:
            self._trickle.send(data, self.faults, self.output)

    def refuse(self, why: str) -> None:
        """Say why something is not done, and keep it for whoever put the card in."""
        self.refused = [*self.refused[-99:], why]
        self.say(why)

    def heaters_off(self, now_s: float) -> None:
        """Every heater's target to 0."""
        for heater in (*self.nozzles, self.bed):
            heater.aim(0, now_s)

    # Running

    def start(self) -> None:
        """Begin to obey; the banner comes first."""
        self.booting = True
        self._tasks = [asyncio.create_task(self._run()), asyncio.create_task(watch(self))]
        for task in self._tasks:
            task.add_done_callback(_fail_loudly)

    async def stop(self) -> None:
        """Stop obeying, for the end of the process."""
        for task in self._tasks:
            task.remove_done_callback(_fail_loudly)
            task.cancel()
        for task in self._tasks:
            with contextlib.suppress(asyncio.CancelledError):
                await task

    async def reset(self) -> None:
        """Power off and on: what is not stored is gone, and so are homing and count."""
        await self.stop()
        now = self.clock.now_s()
        self.planner.stop(now)
        old = self.planner
        self.planner = Planner(old.feed, watch=old.watch, emptied=old.emptied)
        self.heaters_off(now)
        self.modes, self.counter = Modes(), LineCounter(numbering=self.dialect.numbering)
        self.settings.inches = self.settings.inches_at_start
        self.halted = self.printing = False
        self.tool = 0
        self.cuts.clear()
        self._waiting.clear()
        self._partial = b""
        self.start()

    async def hold(
        self,
        seconds_left: Callable[[], float],
        *,
        cut_by: str = "M410",
        tell: Callable[[], None] | None = None,
    ) -> bool:
        """Block until nothing is left, telling `busy` every 2 s, or `tell` every second.

        Returns:
            False where the urgent command `cut_by`, or a halt, cut it short.
        """
        every = self.clock.paced_s(BUSY_EVERY_S if tell is None else 1.0)
        last = self.clock.now_s()
        while (left := seconds_left()) > 0:
            if self.halted or cut_by in self.cuts:
                return False
            self.urgent.clear()
            if self.hurried:
                self.clock.skip(min(left, every))
                await asyncio.sleep(0)
            else:
                await self.clock.sleep(min(left, every), self.urgent)
            now = self.clock.now_s()
            if now - last >= every and not self.halted and not self.hurried:
                last = now
                if tell is None:
                    self.say("echo:busy: processing")
                else:
                    tell()
        return not (self.halted or cut_by in self.cuts)

    async def _run(self) -> None:
        await self.clock.sleep(BOOT_S)
        self.booting = False
        if self.faults.no_banner:
            self.settings.reload()
        else:
            commands.banner(self)
        while True:
            while not self._waiting:
                self._arrived.clear()
                await self._await_line()
            await self._obey(self._waiting.popleft())

    async def _await_line(self) -> None:
        """Until bytes came; some families say that they are idle, each second of the wall:
        a fast clock would leave the client no quiet, which no real board does.
        """
        if not self.dialect.idles:
            await self._arrived.wait()
            return
        await self.clock.sleep(IDLE_EVERY_S * self.clock.factor, self._arrived)
        if not self._arrived.is_set() and not self.halted:
            self.say("wait")

    async def _obey(self, raw: bytes) -> None:
        if self.halted:
            return  # only a restart helps
        if self.faults.stopped:
            self.say(self.faults.stopped)
            self.say("ok")
            return
        if (asked := self.faults.asked_again(raw)) is not None:
            self._ask_again("checksum wrong", asked)
            return
        try:
            text = self.counter.accept(self.faults.arrive(raw))
        except LineRefusedError as refusal:
            self._refuse(refusal)
            return
        await self.do(text)
        if not self.halted:
            await self.faults.delay(self.say, self.clock.sleep)
            for _ in range(self.faults.acknowledgements()):
                self.say(telling.acknowledgement(self))

    async def do(self, text: str) -> None:
        """Obey one command without its number; a refusal is said, the acknowledgement is not."""
        self.tail = ""
        command = parse(text)
        handler = commands.handler(self, command) if command else None
        if command is not None and (refusal := self.faults.refusal(command.code, command.words)):
            self.say(refusal)
        elif command is not None and handler is not None:
            self.cuts.clear()
            behind = command.code in self.dialect.behind_ok
            self._held = [] if behind else None
            result = handler(self, command)
            if inspect.isawaitable(result):
                await result
            held, self._held = self._held or [], None
            telling.let_out(self, held, behind=behind)
            self.faults.done(command, self.settings)
        elif text and self.dialect.unknown:
            self.refuse(self.dialect.unknown.format(text))

    def _refuse(self, refusal: LineRefusedError) -> None:
        if refusal.ask_again:
            self._ask_again(str(refusal), self.counter.last + 1)
            return
        self.say(f"Error:{refusal}, last line {self.counter.last}")
        self.say("ok")

    def _ask_again(self, why: str, number: int) -> None:
        self.say(f"Error:{why}, last line {self.counter.last}")
        if self.dialect.drops:
            self._waiting.clear()  # the lines in flight behind it are dropped
        self.say(self.dialect.resend.format(number))
        if self.dialect.resend_ok and not self.faults.resend_without_ok:
            self.say("ok")


def _fail_loudly(task: asyncio.Task[None]) -> None:
    """A board that died of our own fault must not look like one that is merely silent."""
    if not task.cancelled() and (error := task.exception()) is not None:
        traceback.print_exception(error)
        os._exit(4)
