"""A line without a wire, a nozzle without heat, and a machine on both."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from asleft.controller import MachineDescription
from asleft.controller.machine import Machine
from asleft.link import GuardLimits
from asleft.link.answer import Answer, LineFacts, Notice

Reply = str | list[str] | Callable[[str], "list[str]"]


class ScriptedLine:
    """Answers each command from `replies` (longest beginning that fits); else a bare ok.

    A reply's last line that begins with `ok` is the acknowledgement; `Error` lines are errors.
    """

    def __init__(self, replies: dict[str, Reply] | None = None) -> None:
        self.facts = LineFacts("socket://127.0.0.1:1", None, "none", False)
        self.replies: dict[str, Reply] = replies or {}
        self.sent: list[str] = []
        self.unasked: list[Notice] = []
        self.stops = 0
        self.closed = False

    def exchange(self, command: str, *, within_s: float) -> Answer:
        assert within_s > 0
        self.sent.append(command)
        fitting = [k for k in self.replies if command == k or command.startswith(f"{k} ")]
        reply = self.replies[max(fitting, key=len)] if fitting else []
        if callable(reply):
            reply = reply(command)
        lines = [reply] if isinstance(reply, str) else list(reply)
        behind_ok = lines.pop()[2:].strip() if lines and lines[-1].startswith("ok") else ""
        errors = tuple(x for x in lines if x.startswith(("Error", "!!")))
        return Answer(command, tuple(x for x in lines if x not in errors), behind_ok, errors)

    def notices(self) -> list[Notice]:
        told, self.unasked = self.unasked, []
        return told

    def limit(self, limits: GuardLimits, safe_lines: tuple[str, ...]) -> None:
        self.limits, self.safe_lines = limits, safe_lines

    def is_lost(self) -> bool:
        return False

    def reopen(self, *, within_s: float) -> LineFacts:
        raise AssertionError("it was not lost")

    def stop(self) -> None:
        self.stops += 1

    def close(self) -> None:
        self.closed = True


@dataclass
class Nozzle:
    """A nozzle that warms by `rise_k` at each question, and a clock that it moves on."""

    rise_k: float = 20.0
    at_c: float = 22.0
    target_c: float = 0.0
    stays_on: bool = False
    now_s: float = 0.0

    def set(self, command: str) -> list[str]:
        wished = float(command.split("S")[1])
        self.target_c = self.target_c if self.stays_on and not wished else wished
        return ["ok"]

    def tell(self, _: str) -> list[str]:
        self.now_s += 2.0
        if self.target_c:
            self.at_c = min(self.target_c, self.at_c + self.rise_k)
        return [f"ok T:{self.at_c:.1f} /{self.target_c:.1f} B:21.0 /0.0 @:0 B@:0"]


@dataclass
class Bench:
    """A machine, its line, its nozzle, and the lines of a usual report."""

    machine: Machine
    line: ScriptedLine
    nozzle: Nozzle


REPORTS = Path(__file__).parent / "reports"


@pytest.fixture
def report_lines() -> list[str]:
    return (REPORTS / "echoed.txt").read_text().splitlines()


@pytest.fixture
def bench(report_lines: list[str]) -> Callable[..., Bench]:
    """`bench(replies, nozzle={…}, **description)` builds one; replies outweigh the usual ones."""

    def build(
        replies: dict[str, Any] | None = None,
        *,
        nozzle: dict[str, Any] | None = None,
        **described: Any,
    ) -> Bench:
        warm = Nozzle(**(nozzle or {}))
        usual = {"M503": report_lines, "M105": warm.tell, "M104": warm.set}
        line = ScriptedLine(usual | (replies or {}))
        description = MachineDescription("bench", **described)
        machine = Machine(line, description, clock=lambda: warm.now_s, pause=lambda _: None)
        return Bench(machine, line, warm)

    return build


@pytest.fixture
def in_turn() -> Callable[..., Callable[[str], list[str]]]:
    """Each answer once; the last one again and again."""

    def answers(*each: list[str]) -> Callable[[str], list[str]]:
        left = list(each)
        return lambda _: left.pop(0) if len(left) > 1 else left[0]

    return answers
