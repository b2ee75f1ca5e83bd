"""The kinds of fault: when they may strike, on which commands, and what they do then.

Each draws its own strength from the generator it is given. Not for judging. Stands on the practice
machine's `Faults`.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from asleft.practice.board import commands

if TYPE_CHECKING:
    from benchmarks.faults.stage import Stage

Strike = Callable[["Stage", np.random.Generator], None]
EVERY = ("found", "set", "feed", "cold feed")


@dataclass(frozen=True)
class FaultKind:
    """One kind. `at` is the beginning of the command at which it strikes, any where empty.

    `strikes` is how often at most; `own_s` how long at most it holds things up by itself; `first`
    that it is there from the beginning.
    """

    strike: Strike
    commands: tuple[str, ...] = EVERY
    at: str = ""
    strikes: int = 1
    own_s: float = 0.0
    first: bool = False


def _late(stage: Stage, rng: np.random.Generator) -> None:
    stage.faults.late, stage.faults.late_s = 1, float(rng.uniform(3, 45))


def _doubled(stage: Stage, rng: np.random.Generator) -> None:
    stage.faults.double_ok = int(rng.integers(1, 5))


def _lost(stage: Stage, rng: np.random.Generator) -> None:
    stage.faults.lose_ok = int(rng.integers(1, 3))


def _split(stage: Stage, rng: np.random.Generator) -> None:
    stage.faults.split, stage.faults.split_s = int(rng.integers(1, 40)), float(rng.uniform(0.02, 2))


def _garbled(stage: Stage, rng: np.random.Generator) -> None:
    stage.faults.garble = int(rng.integers(1, 7))


def _corrupted(stage: Stage, rng: np.random.Generator) -> None:
    stage.faults.corrupt = int(rng.integers(1, 5))


def _missing(stage: Stage, rng: np.random.Generator) -> None:
    if rng.random() < 0.3:
        stage.faults.cut_report = int(rng.integers(1, 28))
    else:
        stage.faults.miss_from = int(rng.integers(0, 13))
        stage.faults.miss = int(rng.integers(1, 4))


def _noise(stage: Stage, rng: np.random.Generator) -> None:
    few = rng.choice([0, 0x80, 0xFF, 0xC3, 0xF8, 0x0D, 0x1B], int(rng.integers(1, 200)))
    stage.faults.asides += [bytes(few.astype(np.uint8)).decode("latin-1")]
    stage.faults.asides += ["\n"] if rng.random() < 0.5 else []


def _flood(stage: Stage, rng: np.random.Generator) -> None:
    lines = ("DEBUG fan {n} rpm", "echo:probe {n}", "// note {n}", '{{"state":"idle","n":{n}}}')
    line = lines[int(rng.integers(len(lines)))]
    count = int(rng.integers(200, 800))
    stage.faults.asides += [line.format(n=n) + "\n" for n in range(count)]


def _endless(stage: Stage, rng: np.random.Generator) -> None:
    stage.faults.ask_again = 10**9
    stage.faults.resend_without_ok = bool(rng.random() < 0.5)


def _gone(stage: Stage, rng: np.random.Generator) -> None:
    stage.faults.ask_again, stage.faults.ask_back = (int(n) for n in rng.integers(1, (4, 40)))
    stage.faults.resend_without_ok = bool(rng.random() < 0.5)


def _digit(stage: Stage, rng: np.random.Generator) -> None:
    # Never the same digit twice: two like readings are believed, and nothing more can be known.
    stage.faults.wrong_digit = 1
    stage.faults.wrong_at = (float(rng.random()) / 2 + stage.struck / 2) % 1


def _touches(stage: Stage, _: np.random.Generator) -> None:
    stage.faults.touches = True


def _rounds(stage: Stage, _: np.random.Generator) -> None:
    stage.faults.rounds = True


def _forgets(stage: Stage, _: np.random.Generator) -> None:
    stage.board.settings.storage_is_lost = True


def _reset(stage: Stage, _: np.random.Generator) -> None:
    stage.later(stage.board.reset())


def _unsaid_reset(stage: Stage, rng: np.random.Generator) -> None:
    stage.faults.no_banner = bool(rng.random() < 0.5)
    stage.faults.lose_start = True
    stage.later(stage.board.reset())


def _cable(stage: Stage, rng: np.random.Generator) -> None:
    stage.faults.restart_on_opening = bool(rng.random() < 0.5)
    stage.cable.pull()

    async def plug(after_s: float) -> None:
        await asyncio.sleep(after_s)
        stage.cable.plug()

    stage.later(plug(float(rng.uniform(0.3, 90))))


def _busy(stage: Stage, rng: np.random.Generator) -> None:
    stage.faults.busy_s = float(rng.uniform(20, 240))


def _halted(stage: Stage, rng: np.random.Generator) -> None:
    stage.board.nozzle.aim(0, stage.board.clock.now_s())
    stage.board.bed.aim(0, stage.board.clock.now_s())
    way = int(rng.integers(3))
    if way == 0:
        stage.faults.stopped = "!! driver too hot, stopped"
    elif way == 1:
        commands.halt(stage.board, "thermistor")
    else:
        stage.faults.silent = stage.board.halted = True


def _rising(stage: Stage, rng: np.random.Generator) -> None:
    stage.board.nozzle.read_c(stage.board.clock.now_s())
    stage.board.nozzle.rises_c_s = float(rng.uniform(0.5, 6))
    stage.later(stage.watch())


def _ok_inside(stage: Stage, rng: np.random.Generator) -> None:
    lines = ('{"note":"ok"}', "queue ok", "echo:ok so far", "okay", "// ok", "T ok", "okN12")
    stage.faults.asides += [lines[int(rng.integers(len(lines)))] + "\n"]


def _cold(stage: Stage, rng: np.random.Generator) -> None:
    stage.faults.refuse_feeds = int(rng.integers(1, 4))


FAULT_KINDS: dict[str, FaultKind] = {
    "late": FaultKind(_late, own_s=45),
    "doubled": FaultKind(_doubled, strikes=3),
    "lost": FaultKind(_lost, strikes=2),
    "split": FaultKind(_split, own_s=160, strikes=2),
    "garbled": FaultKind(_garbled, strikes=3),
    "corrupted": FaultKind(_corrupted, strikes=3),
    "missing": FaultKind(_missing, at="M503"),
    "noise": FaultKind(_noise, strikes=4),
    "flood": FaultKind(_flood, strikes=3),
    "endless": FaultKind(_endless),
    "gone": FaultKind(_gone, strikes=2),
    "digit": FaultKind(_digit, at="M503", strikes=2),
    "touches": FaultKind(_touches, ("set",), first=True),
    "rounds": FaultKind(_rounds, ("set",), first=True),
    "forgets": FaultKind(_forgets, ("set",), first=True),
    "reset": FaultKind(_reset),
    "unsaid reset": FaultKind(_unsaid_reset),
    "cable": FaultKind(_cable, own_s=90),
    "busy": FaultKind(_busy, own_s=240),
    "halted": FaultKind(_halted),
    "rising": FaultKind(_rising),
    "ok inside": FaultKind(_ok_inside, strikes=6),
    "cold": FaultKind(_cold, ("feed", "cold feed"), at="G1 E"),
}
