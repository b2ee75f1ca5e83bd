"""What must not fall over: heaters off, and whoever watches, whatever goes wrong beside them."""

from __future__ import annotations

import asyncio
import importlib.util
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from asleft.controller.awake import SleepWatch
from asleft.controller.owner_safe import heaters_off, is_off
from asleft.controller.owner_watch import Watcher, watch
from asleft.link import GuardLimits
from asleft.link.answer import Answer
from asleft.link.conversation import Conversation
from asleft.link.transport import PortTransport
from asleft.link.wire import Wire
from asleft.link.wirelog import WireLog

_spec = importlib.util.spec_from_file_location(
    "asleft_test_safe_board", Path(__file__).parents[1] / "link" / "board.py"
)
assert _spec is not None and _spec.loader is not None
_board = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_board)

OFF = ("M104 S0", "M140 S0")


@pytest.fixture
def board() -> Iterator[Any]:
    one = _board.Board()
    yield one
    one.end()


def test_a_fault_of_our_own_in_one_way_leaves_the_next(
    board: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def run() -> None:
        talk = Conversation(Wire(PortTransport(board.address), WireLog(tmp_path / "wire.log")))
        await talk.open()

        def broken(*_: Any, **__: Any) -> Any:
            raise RuntimeError("a fault of our own")

        monkeypatch.setattr(talk, "exchange", broken)
        outcome = await heaters_off(talk, (), OFF, within_s=5.0)
        await talk.close()
        assert outcome.confirmed and outcome.how == "without number"

    asyncio.run(run())
    assert set(OFF) <= set(board.commands())


@pytest.mark.parametrize(
    ("report", "said", "off"),
    [
        ("T:180 /0.0 B:40 /0.0 @:0", "", True),
        ("T:180 /200.0 B:40 /0.0", "", False),
        ("T:180 /0.0 B:40 /60.0", "", False),
        ("T0:180 /0 T1:180 /210 B:40 /0", "", False),
        ("B:40 /0.0", "", False),  # no word of the nozzle
        ("T:180 B:40", "", True),
        ("T:180 B:40", 'echo:Unknown command: "M1Q4 S0"', False),
        ("T:180 /0 B:40 /0", 'echo:Unknown command: "M1Q4 S0"', True),  # the targets outweigh it
        ("", "", False),
    ],
)
def test_what_counts_as_off(report: str, said: str, off: bool) -> None:
    answers = [Answer("M104 S0", (said,), ""), Answer("M140 S0", (), "")]
    assert is_off(answers, Answer("M105", (), report)) is off


def test_whoever_watches_does_not_fall_over() -> None:
    looked: list[int] = []

    class Session:
        log = SimpleNamespace(note=lambda _: None)
        sleep = SleepWatch()
        config = SimpleNamespace(limits=GuardLimits())
        guard = SimpleNamespace(ours=False)
        awake = SimpleNamespace(hold=lambda: None, release=lambda: None)
        unsafe = None
        talk = SimpleNamespace(wire=SimpleNamespace(lost=None))

        def mark_hot(self) -> None:
            pass

        @property
        def is_making_safe(self) -> bool:
            looked.append(1)
            raise RuntimeError("a fault of our own")

    async def run() -> None:
        watcher = asyncio.create_task(watch(Watcher(Session())))  # type: ignore[arg-type]
        await asyncio.sleep(0.45)
        assert not watcher.done()
        watcher.cancel()

    asyncio.run(run())
    assert len(looked) >= 3
