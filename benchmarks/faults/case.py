"""One case: a command, a family of reports and a fault, all drawn from one seed.

`case(kind, seed)` runs it from an empty home to the end and has it judged. Not for many of them:
that is `__main__`. Stands on `stage`, `cable`, `judge` and the bench.
"""

from __future__ import annotations

import os
import shutil
import tempfile
import time
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache, partial
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np
from benchmarks.faults.cable import opener
from benchmarks.faults.kinds import FAULT_KINDS
from benchmarks.faults.own_time import HangError, OwnTimeLoop, own_time
from benchmarks.faults.stage import Stage, Watched

from asleft.bench import Bench
from asleft.controller import connect
from asleft.errors import AsleftError
from asleft.practice.words.kinds import KINDS
from asleft.record import Store

ENDS_S = 4000.0
REAL_S = 60.0
NAME = "workbench"
SPARE_S = 300.0
"""Stated time: a command ends so long, and the fault's own time, after it would have without."""
FEED = {"repeats": 2, "marked_mm": 60.0, "length_mm": 30.0, "rate_mm_min": 60.0}

Run = Callable[[Bench, Stage], dict[str, Any]]
COMMANDS: dict[str, Run] = {
    "found": lambda bench, _: bench.found(),
    "set": lambda bench, stage: bench.set(stage.wished, from_findings=False, store=True),
    "feed": lambda bench, _: bench.trial("feed", {**FEED, "temperature_c": 205.0}),
    "cold feed": lambda bench, _: bench.trial("feed", {**FEED, "detached": True}),
}


@dataclass
class Ran:
    """What a command came to: a result, an error in words, or neither (hung, crashed)."""

    result: dict[str, Any] | None = None
    error: AsleftError | None = None
    broke: str = ""
    own_s: float = 0.0
    told: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Verdict:
    """One case judged: `right`, `refused`, `wrong` or `hang`, and why."""

    kind: str
    seed: int
    command: str
    family: str
    outcome: str
    why: str
    own_s: float
    over_s: float
    wall_s: float


def chosen(kind: str, seed: int) -> tuple[str, str]:
    """Command and family of a seed."""
    allowed, families = FAULT_KINDS[kind].commands, sorted(KINDS)
    return allowed[seed % len(allowed)], families[seed // len(allowed) % len(families)]


def case(kind: str, seed: int, *, log: list[str] | None = None) -> Verdict:
    """Run one case and judge it; the wire log is appended to `log`."""
    from benchmarks.faults.judge import judge

    began_s = time.perf_counter()
    fault, (command, family) = FAULT_KINDS[kind], chosen(kind, seed)
    clean_lines, clean_s = _without(command, family)
    rng = np.random.default_rng([seed, zlib.crc32(kind.encode())])
    fitting = [n for n, line in enumerate(clean_lines, 1) if fault.at in line] or [1]
    wanted = min(len(fitting), int(rng.integers(1, fault.strikes + 1)))
    at = () if fault.first else tuple(int(n) for n in rng.choice(fitting, wanted, replace=False))
    with _home(family) as home:
        loop = OwnTimeLoop(ENDS_S, REAL_S)
        with own_time(loop):
            stage = Stage(loop, family, seed, fault, at)
            ran = _run(stage, home, COMMANDS[command])
            outcome, why = judge(stage, ran, home, command, partial(_run, stage, home))
        if log is not None:
            log += _told(home, stage, ran)
    over_s = ran.own_s - clean_s - fault.own_s
    if outcome in ("right", "refused") and over_s > SPARE_S:
        outcome, why = "hang", f"{over_s:.0f} s longer than without the fault"
    wall_s = time.perf_counter() - began_s
    return Verdict(kind, seed, command, family, outcome, why, ran.own_s, over_s, wall_s)


def _run(stage: Stage, home: Path, run: Run) -> Ran:
    """One command at a bench of its own, as one call of the program."""
    loop, person, ran = stage.loop, Watched(stage), Ran()
    began_s = loop.now_s
    opened = partial(connect, clock=loop.time, pause=loop.pass_s)
    try:
        with (
            mock.patch("asleft.controller.line.open_line", opener(loop, stage.cable)),
            mock.patch("asleft.controller.awake.keep_awake_commands", list),  # no other programs
            Bench(home, person, holder="the campaign", machine=NAME, open_machine=opened) as bench,
        ):
            ran.result = run(bench, stage)
    except AsleftError as error:
        ran.error = error
    except HangError as hang:
        ran.broke = str(hang)
        loop.ends_s += ENDS_S
    except Exception as bug:  # the program's own fault is a verdict, not the end of the campaign
        ran.broke = f"bug: {bug!r}"
    ran.own_s, ran.told = loop.now_s - began_s, person.told
    return ran


@cache
def _without(command: str, family: str) -> tuple[tuple[str, ...], float]:
    """The lines that arrive, and the own seconds, without any fault."""
    loop = OwnTimeLoop(ENDS_S, REAL_S)
    with _home(family) as home, own_time(loop):
        stage = Stage(loop, family, 1, None, ())
        ran = _run(stage, home, COMMANDS[command])
        assert not ran.broke, ran
        return tuple(stage.lines), ran.own_s


@contextmanager
def _home(family: str) -> Iterator[Path]:
    """A home in which the machine is described, on an address that is this process's alone."""
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder) / "home"
        shutil.copytree(_described(family).name, home)
        yield home


@cache
def _described(family: str) -> tempfile.TemporaryDirectory[str]:
    folder = tempfile.TemporaryDirectory()
    with Store.open(Path(folder.name)) as store:
        port = 1024 + os.getpid() % 60000  # never opened: only the lock knows it
        known = {**KINDS[family].owner_knows(), "address": f"socket://127.0.0.1:{port}"}
        store.add_machine({"name": NAME, **known})
    return folder


def _told(home: Path, stage: Stage, ran: Ran) -> list[str]:
    lines = [f"struck {stage.struck} times at lines {stage.strikes_at}, {stage.truth.struck_s} s"]
    for path in sorted((home / "wire").glob("*.log")):
        lines += ["", path.name, *path.read_text(encoding="ascii").splitlines()]
    lines += ["", *(f"told: {text}" for text in ran.told)]
    lines += [f"result: {ran.result}", f"broke: {ran.broke}"]
    if ran.error is not None:
        lines += [f"{type(ran.error).__name__}: {ran.error.message}", f"hint: {ran.error.hint}"]
    return lines
