"""A hot machine and a computer that sleeps: kept awake, noticed, heaters off first, and said.

The real owner process against a scripted board; clocks are passed in where a night must pass. A
stand-in for the system's command shows what is held and for how long, since the tests' computer
may have no login manager; the system's own is run too, and may refuse.
"""

from __future__ import annotations

import asyncio
import contextlib
import importlib.util
import os
import signal
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from asleft.controller.awake import MAY_SLEEP, Awake, SleepWatch
from asleft.controller.line import OwnedLine, open_line
from asleft.controller.owner_config import OwnerConfig
from asleft.controller.owner_session import Session
from asleft.errors import LineError, MachineError
from asleft.link import GuardLimits

_spec = importlib.util.spec_from_file_location(
    "asleft_test_awake_board", Path(__file__).parents[1] / "link" / "board.py"
)
assert _spec is not None and _spec.loader is not None
_board = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_board)

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals and scripts of POSIX")

STAND_IN = """#!/bin/sh
for last; do :; done
case "$*" in *lid*) [ -n "$NO_LID" ] && exit 1 ;; esac
echo "$$ $*" >> "$HELD"
"$last"
echo ended >> "$HELD"
"""


@pytest.fixture
def board() -> Iterator[Any]:
    one = _board.Board()
    yield one
    one.end()


@pytest.fixture
def held(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """What the stand-in noted: that it holds, that it ended."""
    for name in ("systemd-inhibit", "caffeinate"):
        command = tmp_path / "bin" / name
        command.parent.mkdir(exist_ok=True)
        command.write_text(STAND_IN)
        command.chmod(0o755)
    notes = tmp_path / "held"
    notes.touch()
    monkeypatch.setenv("PATH", f"{tmp_path / 'bin'}{os.pathsep}{os.environ['PATH']}")
    monkeypatch.setenv("HELD", str(notes))
    return notes


@pytest.fixture
def opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[..., OwnedLine]]:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "run"))
    lines: list[OwnedLine] = []

    def start(board: Any, **limits: Any) -> OwnedLine:
        line = open_line(
            board.address,
            wire_log=tmp_path / "wire.log",
            holder="a test",
            limits=GuardLimits(**limits),
        )
        lines.append(line)
        return line

    yield start
    for line in lines:
        with contextlib.suppress(LineError):
            line.close()


def wait_until(true: Callable[[], object], within_s: float = 5.0) -> bool:
    end_s = time.monotonic() + within_s
    while time.monotonic() < end_s:
        if true():
            return True
        time.sleep(0.01)
    return False


def cautions(line: OwnedLine) -> list[str]:
    return [notice.text for notice in line.notices() if notice.kind == "caution"]


def test_held_from_the_first_heater_to_heaters_off(board: Any, opened: Any, held: Path) -> None:
    line = opened(board)
    line.exchange("G28", within_s=2)
    time.sleep(0.3)
    assert held.read_text() == ""
    line.exchange("M104 S200", within_s=2)
    assert wait_until(held.read_text)
    time.sleep(0.3)
    assert len(held.read_text().splitlines()) == 1  # held on
    line.exchange("M104 S0", within_s=2)
    line.exchange("M105", within_s=2)
    assert wait_until(lambda: not alive(held)), held.read_text()
    assert cautions(line) == []


def alive(held: Path) -> bool:
    """Whether what was held last is held still."""
    last = held.read_text().splitlines()[-1]
    if last == "ended":
        return False
    with contextlib.suppress(ProcessLookupError):
        os.kill(int(last.split()[0]), 0)
        return True
    return False


def test_not_held_on_by_what_is_shown_as_hot_still(board: Any, opened: Any, held: Path) -> None:
    line = opened(board, poll_s=0.1)
    line.exchange("M104 S200", within_s=2)
    assert wait_until(held.read_text)
    board.report = "T:200.0 /200.0 B:21.0 /0.0"
    assert wait_until(lambda: board.commands().count("M105") > 3)
    line.exchange("M104 S0", within_s=2)  # acknowledged, and not done
    time.sleep(0.4)
    assert alive(held)
    board.report = "T:200.0 /0.0 B:21.0 /0.0"
    assert wait_until(lambda: not alive(held))


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGTERM])
def test_a_killed_owner_holds_nothing(board: Any, opened: Any, held: Path, number: int) -> None:
    line = opened(board)
    line.exchange("M104 S200", within_s=2)
    assert wait_until(held.read_text)
    assert alive(held)
    os.kill(line.owner_pid, number)
    assert wait_until(lambda: not alive(held) or "ended" in held.read_text())


def test_a_lid_that_may_not_be_held_is_left(
    board: Any, opened: Any, held: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NO_LID", "1")
    line = opened(board)
    line.exchange("M104 S200", within_s=2)
    assert wait_until(held.read_text)
    assert "lid" not in held.read_text() and "sleep" in held.read_text()
    assert cautions(line) == []


@pytest.mark.parametrize("missing", [True, False])
def test_absent_it_is_told_once(
    board: Any, opened: Any, held: Path, monkeypatch: pytest.MonkeyPatch, missing: bool
) -> None:
    for name in ("systemd-inhibit", "caffeinate"):
        command = held.with_name("bin") / name
        command.write_text("#!/bin/sh\necho no manager >&2\nexit 1\n")
        if missing:
            command.unlink()
    if missing:
        monkeypatch.setenv("PATH", str(held.with_name("bin")))
    line = opened(board)
    told: list[str] = []
    for _ in range(2):
        line.exchange("M104 S200", within_s=2)
        assert wait_until(lambda: told.extend(cautions(line)) or told, 10)
        line.exchange("M104 S0", within_s=2)
        time.sleep(0.3)
    assert len(told) == 1 and told[0].startswith(MAY_SLEEP)
    assert ("No such file" if missing else "no manager") in told[0]


def test_the_systems_own_command_never_raises() -> None:
    told: list[str] = []

    async def run() -> None:
        awake = Awake(told.append)
        awake.hold()
        await asyncio.sleep(1.0)
        await asyncio.wait_for(awake.end(), 2.0)

    asyncio.run(run())
    assert all(words.startswith(MAY_SLEEP) for words in told) and len(told) <= 1


class Clocks:
    """One that stands still in sleep and one that does not."""

    def __init__(self) -> None:
        self.running_s, self.passing_s = 100.0, 5000.0

    def watch(self) -> SleepWatch:
        return SleepWatch(lambda: self.running_s, lambda: self.passing_s)

    def run(self, seconds: float) -> None:
        self.running_s += seconds
        self.passing_s += seconds


def test_what_counts_as_sleep() -> None:
    clocks = Clocks()
    watch = clocks.watch()
    clocks.run(3600)
    assert watch.slept_s() == 0.0  # time went by, and nobody said that he rests
    clocks.passing_s += 600
    assert watch.slept_s() == pytest.approx(600)
    assert watch.slept_s() == 0.0  # told once
    clocks.passing_s -= 600  # the clock was set back
    assert watch.slept_s() == pytest.approx(-600)
    with watch.resting():
        clocks.run(0.1)
        assert watch.slept_s() == pytest.approx(0.1)
        clocks.run(50)  # where both clocks go on in sleep, the rest was too long
        assert watch.slept_s() == pytest.approx(50)
    clocks.run(50)
    assert watch.slept_s() == 0.0


def test_after_a_night_heaters_off_goes_before_the_next_command(
    board: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path / "run"))
    clocks = Clocks()
    config = OwnerConfig(board.address, None, str(tmp_path / "log"), "a test", GuardLimits())

    async def run() -> None:
        session = Session(config, sleep=clocks.watch())
        await session.open()
        await session.exchange("M104 S200", 2)
        before = len(board.received)
        clocks.passing_s += 8 * 3600
        with pytest.raises(MachineError, match=r"slept.*28800 s.*hot"):
            await session.exchange("G1 E5", 2)
        assert board.commands()[before] == "M104 S0"
        assert "G1 E5" not in board.commands()
        assert any("was confirmed" in one.text for one in session.notices())
        await session.exchange("G1 E5", 2)  # told once
        await session.close()

    asyncio.run(run())


@pytest.mark.parametrize("heated", [True, False])
def test_an_owner_that_stood_still(board: Any, opened: Any, heated: bool) -> None:
    line = opened(board, slept_s=0.5)
    line.exchange("M104 S200" if heated else "M105", within_s=2)
    os.kill(line.owner_pid, signal.SIGSTOP)
    time.sleep(0.8)
    before = len(board.received)
    os.kill(line.owner_pid, signal.SIGCONT)
    if not heated:
        assert line.exchange("M114", within_s=2)
        assert "M104 S0" not in board.commands()
        return
    with pytest.raises(MachineError, match="stood still"):
        line.exchange("G1 E5", within_s=2)
    assert board.commands()[before] == "M104 S0"
    assert "G1 E5" not in board.commands()


def test_after_a_killed_owner_the_next_switches_off_first(board: Any, opened: Any) -> None:
    line = opened(board)
    line.exchange("M104 S200", within_s=2)
    os.kill(line.owner_pid, signal.SIGKILL)
    with pytest.raises(LineError, match="gone"):
        line.exchange("M105", within_s=2)
    board.report = "T:200.0 /200.0 B:21.0 /0.0"
    board.script["M104"] = lambda _: setattr(board, "report", "T:200.0 /0.0 B:21.0 /0.0") or False
    before = len(board.received)
    wait_until(lambda: board._link is None)
    second = opened(board)
    assert board.commands()[before] == "M104 S0"
    assert any("was ended while it heated" in words for words in cautions(second))
    second.close()
    before = len(board.received)
    opened(board)  # and nothing is left to say
    assert "M104 S0" not in board.commands()[before:]


def test_what_stays_hot_after_a_killed_owner_is_refused_and_not_forgotten(
    board: Any, opened: Any
) -> None:
    line = opened(board)
    line.exchange("M104 S200", within_s=2)
    os.kill(line.owner_pid, signal.SIGKILL)
    wait_until(lambda: board._link is None)
    board.report = "T:200.0 /200.0 B:21.0 /0.0"  # whatever it is told
    for _ in range(2):
        with pytest.raises(LineError, match=r"ended while it heated.*power switch"):
            opened(board)
        wait_until(lambda: board._link is None)
