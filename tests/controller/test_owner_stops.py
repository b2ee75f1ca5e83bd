"""Twenty stops in a heat-wait, others in line: each on the wire within 100 ms, nothing after it.

A real owner process and a scripted board; two hundred, with a busy client, are measured by
`python -m benchmarks.line`.
"""

from __future__ import annotations

import importlib.util
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from asleft.controller.line import OwnedLine, open_line
from asleft.errors import AsleftError, Stopped
from asleft.link import GuardLimits

_spec = importlib.util.spec_from_file_location(
    "asleft_test_stops_board", Path(__file__).parents[1] / "link" / "board.py"
)
assert _spec is not None and _spec.loader is not None
_board = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_board)

STOPS, IN_LINE = 20, 6
WITHIN_S = 0.1
STOPPING = ("M108", "M410", "M104 S0", "M140 S0")


@pytest.fixture
def board() -> Iterator[Any]:
    one = _board.Board()
    yield one
    one.end()


def blocks(board: Any, busy: threading.Event) -> None:
    """A heat-wait says busy, and its ok comes when it is broken off."""

    def wait(_: str) -> None:
        busy.set()
        board.say("echo:busy: heating")

    def broken_off(_: str) -> bool:
        if busy.is_set():
            busy.clear()
            board.say("ok")
        return False

    board.script["M109"] = wait
    board.script["M108"] = broken_off


def heat(line: OwnedLine, place: int, ended: list[AsleftError]) -> None:
    try:
        line.exchange(f"M109 S{200 + place}", within_s=60)
    except AsleftError as error:
        ended.append(error)


def test_twenty_stops(board: Any, tmp_path: Path) -> None:
    busy, late_s = threading.Event(), []
    blocks(board, busy)
    with open_line(
        board.address, wire_log=tmp_path / "log", holder="a test", limits=GuardLimits()
    ) as line:
        for _ in range(STOPS):
            ended: list[AsleftError] = []
            queue = [
                threading.Thread(target=heat, args=(line, place, ended)) for place in range(IN_LINE)
            ]
            before = len(board.received)
            for thread in queue:
                thread.start()
            assert busy.wait(10)
            time.sleep(0.02)
            pressed_s = time.monotonic()
            line.stop()
            for thread in queue:
                thread.join(10)
            late_s.append(_last_of(board, before) - pressed_s)
            assert [type(error) for error in ended] == [Stopped] * IN_LINE
            heated = [c for c in board.commands()[before:] if c.startswith("M109")]
            assert len(heated) == 1  # whoever stood in line sent nothing
    assert max(late_s) < WITHIN_S, sorted(late_s)


def _last_of(board: Any, before: int) -> float:
    """When the last of the stopping lines first came."""
    end_s = time.monotonic() + 5
    while time.monotonic() < end_s:
        came: dict[str, float] = {}
        for at_s, line in board.received[before:]:
            came.setdefault(line, at_s)
        if all(wanted in came for wanted in STOPPING):
            return max(came[wanted] for wanted in STOPPING)
        time.sleep(0.005)
    raise AssertionError(board.received[before:])
