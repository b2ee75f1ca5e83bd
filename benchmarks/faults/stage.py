"""One practice machine on a cable in this process, with its person, and what really happened to it.

Keeps the truth beside the run: what the board held at each report, what was really fed since each
mark, where heaters stood. Not for judging. Stands on the practice room and `cable`.
"""

from __future__ import annotations

import asyncio
import copy
from collections.abc import Coroutine
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from benchmarks.faults.cable import Cable
from benchmarks.faults.kinds import FaultKind
from benchmarks.faults.own_time import OwnTimeLoop

from asleft.bench import Ask
from asleft.cli.practice_person import PracticePerson
from asleft.errors import RefusedError
from asleft.practice.board.controller import Controller
from asleft.practice.clock import Clock
from asleft.practice.errors import CannotError
from asleft.practice.words.faults import Faults
from asleft.practice.words.kinds import KINDS
from asleft.practice.words.settings import Values
from asleft.practice.workshop import Workshop
from asleft.units import Typed

LOOKS_S = 5.0
"""Own seconds that the person takes for each thing."""
WISHED_MM = (80.37, 94.21)
"""Steps per mm of X and of the first tool, that `set` sets."""
FLOW_PERCENT, SPEED_PERCENT = 95.0, 110.0
"""Overrides as they are found, to be put back."""


@dataclass
class Held:
    """What the board held when it was asked to report, at own time `at_s`."""

    at_s: float
    in_force: Values


@dataclass
class Truth:
    """What really happened.

    `fed_mm` is commanded length that was really fed since the last mark, by the reading's key.
    `before` is what the last report before the first change held. `too_hot_s` is when a heater
    first was beyond what anybody may believe, `off_s` when heaters off came, or the board halted.
    """

    held: list[Held] = field(default_factory=list)
    fed_mm: dict[str, float] = field(default_factory=dict)
    before: Values | None = None
    too_hot_s: float | None = None
    off_s: list[float] = field(default_factory=list)
    struck_s: float | None = None


class Striking(Faults):
    """Faults that come by themselves when so many lines have arrived."""

    stage: Stage

    def arrive(self, raw: bytes) -> bytes:
        """Count the line, note what is held, strike where it is time."""
        self.stage.heard(raw.decode("ascii", "replace"))
        return super().arrive(raw)


class Stage:
    """The machine, its cable and the fault that waits for it.

    Args:
        loop: not running.
        family: of settings report.
        seed: of everything hidden and of the fault.
        kind: what strikes; None for a run without fault.
        strikes_at: at which lines, counted from the first.
    """

    def __init__(
        self,
        loop: OwnTimeLoop,
        family: str,
        seed: int,
        kind: FaultKind | None,
        strikes_at: tuple[int, ...],
    ) -> None:
        self.loop, self.kind, self.strikes_at = loop, kind, strikes_at
        self.rng = np.random.default_rng([seed, 77])
        clock = Clock(1.0, loop.time)
        self.workshop = Workshop(seed=seed, kind=KINDS[family], clock=clock)
        self.workshop.person.misread_share = 0.0
        self.board: Controller = self.workshop.board
        self.faults = Striking()
        self.faults.stage = self
        self.board.faults = self.faults
        self.cable = Cable(self.board.receive, self._opened)
        self.truth = Truth()
        self.lines: list[str] = []
        self.struck = 0
        self._since_mark_mm = 0.0
        self._tasks: set[asyncio.Task[None]] = set()
        loop.run(self._switch_on())

    async def _switch_on(self) -> None:
        board = self.board
        board.start()
        await self.workshop.booted()
        await asyncio.sleep(1)
        board.output = self.cable.say
        push = board.planner.feed

        def feed(motor_mm: float, rate_mm_min: float) -> None:
            self._since_mark_mm += motor_mm / board.feed_ratio()
            push(motor_mm, rate_mm_min)

        board.planner.feed = feed
        # Somebody set Y and never stored it, and left the overrides where they were.
        board.settings.in_force["M92"]["Y"] += 0.5
        board.modes.flow_percent, board.modes.speed_percent = FLOW_PERCENT, SPEED_PERCENT
        self.as_found = copy.deepcopy(board.settings.in_force)
        if self.kind is not None and self.kind.first:
            self.strike()

    @property
    def wished(self) -> dict[str, float]:
        """What `set` sets, by the names of the command line."""
        tool = "E0" if len(self.board.settings.tools) > 1 else "E"
        return dict(zip(("X", tool), WISHED_MM, strict=True))

    def later(self, work: Coroutine[Any, Any, None]) -> None:
        """Something that goes on beside the run."""
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    def heard(self, line: str) -> None:
        """A line has arrived at the board."""
        self.lines.append(line)
        if "M503" in line or line.partition("*")[0].rstrip().endswith("M92"):
            held = copy.deepcopy(self.board.settings.in_force)
            self.truth.held.append(Held(self.loop.now_s, held))
        if "M92 X" in line and self.truth.before is None and self.truth.held:
            self.truth.before = self.truth.held[-1].in_force
        if "M104" in line and "S0" in line:
            self.truth.off_s.append(self.loop.now_s)
        if len(self.lines) in self.strikes_at:
            self.strike()

    def strike(self) -> None:
        """Now."""
        assert self.kind is not None
        if self.truth.struck_s is None:
            self.truth.struck_s = self.loop.now_s
        self.kind.strike(self, self.rng)
        self.struck += 1

    async def watch(self) -> None:
        """Note when the nozzle rises unasked beyond what anybody may believe."""
        nozzle, lowest_c = self.board.nozzle, float("inf")
        while self.truth.too_hot_s is None or not self.board.halted:
            await asyncio.sleep(0.1)
            if self.truth.too_hot_s is not None:
                continue
            now_c = nozzle.read_c(self.loop.now_s)
            lowest_c = min(lowest_c, now_c) if not nozzle.target_c else float("inf")
            rises = not nozzle.target_c and now_c > max(51.0, lowest_c + 16.0)
            if nozzle.rises_c_s and (rises or now_c > self.limit_c + 1):
                self.truth.too_hot_s = self.loop.now_s
        self.truth.off_s.append(self.loop.now_s)

    @property
    def limit_c(self) -> float:
        """What the owner said that the nozzle bears."""
        return self.workshop.board.kind.max_nozzle_c

    def _opened(self) -> None:
        if self.faults.restart_on_opening:
            self.later(self.board.reset())

    def ask(self, do: str, **arguments: Any) -> dict[str, Any]:
        """The person's hands, as `practice.Hands.ask`."""
        self.loop.pass_s(LOOKS_S)
        try:
            told = self.loop.run(self.workshop.do(do, **arguments))
        except CannotError as error:
            raise RefusedError(str(error), where=do) from error
        if do == "mark":
            self._since_mark_mm = 0.0
        return told

    def fed_since_mark(self) -> float:
        """Commanded length really fed, mm."""
        return self._since_mark_mm

    def calm(self) -> None:
        """The trouble is over: cable in, nothing more goes wrong; a halted board is restarted."""
        self.loop.pass_s(self.kind.own_s if self.kind is not None else 0.0)
        halted = self.board.halted or bool(self.faults.stopped)
        self.strikes_at = ()
        self.faults = Striking()
        self.faults.stage = self
        self.board.faults = self.faults
        self.board.nozzle.rises_c_s = 0.0
        self.cable.plug()
        if halted:
            self.loop.run(self.board.reset())
            self.loop.run(self.workshop.booted())


class Watched(PracticePerson):
    """The simulated person, who says yes, with the truth noted at each reading."""

    def __init__(self, stage: Stage) -> None:
        self.told: list[str] = []
        super().__init__(stage, say=self.told.append, progress=lambda *_: None)  # type: ignore[arg-type]
        self._stage = stage

    def number(self, ask: Ask) -> Typed:
        """Measure, and note what was really fed."""
        typed = super().number(ask)
        self._stage.truth.fed_mm[ask.key] = self._stage.fed_since_mark()
        return typed
