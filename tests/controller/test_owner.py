"""The process that owns a line, from outside: what its client sees and what the wire carried.

Real processes, real sockets, a scripted board (`tests/link/board.py`); at the end the practice
machine. Demands are the rules of safety: heaters off on every way out, one owner, stop at once.
"""

from __future__ import annotations

import contextlib
import importlib.util
import json
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from asleft.controller import cool_codes
from asleft.controller.line import OwnedLine, open_line
from asleft.errors import (
    InputError,
    LineError,
    MachineError,
    MachineResetError,
    RefusedError,
    Stopped,
)
from asleft.link import GuardLimits, read_wire_log

_spec = importlib.util.spec_from_file_location(
    "asleft_test_owner_board", Path(__file__).parents[1] / "link" / "board.py"
)
assert _spec is not None and _spec.loader is not None
_board = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_board)

posix = pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")


@pytest.fixture
def board() -> Iterator[Any]:
    one = _board.Board()
    yield one
    one.end()


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[Callable[..., OwnedLine]]:
    lines: list[OwnedLine] = []

    def start(board: Any, *, holder: str = "a test", **options: Any) -> OwnedLine:
        limits = GuardLimits(**options.pop("limits", {}))
        line = open_line(
            getattr(board, "address", board),
            wire_log=tmp_path / "wire.log",
            holder=holder,
            limits=limits,
            **options,
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


def test_questions_notices_and_a_clean_end(board: Any, opened: Any) -> None:
    board.script["M503"] = lambda _: board.say("echo:  M92 X80.00", "ok")
    line = opened(board)
    assert line.facts.address == board.address
    assert not line.facts.restarted_on_opening
    answer = line.exchange("M503", within_s=2)
    assert answer.lines == ("echo:  M92 X80.00",)
    board.say("// a remark")
    assert wait_until(lambda: any(n.text == "// a remark" for n in line.notices()))
    line.close()
    assert not any(c.startswith(("M104", "M140")) for c in board.commands())  # never was hot
    chunks = list(read_wire_log(Path(line.facts.wire_log)))
    assert [c.data for c in chunks if c.direction == "#"][-1] == b"closed"


def test_close_switches_off_what_was_switched_on(board: Any, opened: Any) -> None:
    line = opened(board)
    line.exchange("M104 S200", within_s=2)
    line.close()
    assert {"M104 S0", "M140 S0"} <= set(board.commands())


def test_limits_hold_whoever_asks(board: Any, opened: Any) -> None:
    line = opened(board, limits={"max_nozzle_c": 230})
    with pytest.raises(RefusedError, match="230"):
        line.exchange("M104 S240", within_s=2)
    with pytest.raises(InputError):
        line.exchange("M105\nM112", within_s=2)
    assert not any("S240" in c for c in board.commands())
    assert line.exchange("M105", within_s=2).acknowledged


def test_errors_keep_their_kind(board: Any, opened: Any) -> None:
    board.script["G28"] = lambda _: board.restart()
    line = opened(board)
    with pytest.raises(MachineResetError) as caught:
        line.exchange("G28", within_s=5)
    assert caught.value.hint and caught.value.where == board.address


def test_second_owner_is_told_who_holds_it(board: Any, opened: Any) -> None:
    first = opened(board, holder="the page at http://127.0.0.1:8123")
    with pytest.raises(LineError, match=r"the page at http://127\.0\.0\.1:8123") as caught:
        opened(board)
    assert caught.value.exit_status == 3
    before = len(board.received)
    assert first.exchange("M105", within_s=2).acknowledged  # undisturbed
    assert len(board.received) == before + 1
    first.close()
    opened(board).close()  # and free again


def test_stop_from_another_thread(board: Any, opened: Any) -> None:
    board.script["M109"] = lambda _: None
    line = opened(board)
    caught: list[Exception] = []

    def heat() -> None:
        try:
            line.exchange("M109 S200", within_s=60)
        except Stopped as error:
            caught.append(error)

    thread = threading.Thread(target=heat)
    thread.start()
    assert wait_until(lambda: "M109 S200" in board.commands())
    asked_s = time.monotonic()
    line.stop()
    assert wait_until(lambda: "M140 S0" in board.commands())
    thread.join(2)
    assert caught and not thread.is_alive()
    for command in ("M108", "M410", "M104 S0", "M140 S0"):
        assert board.when(command) - asked_s < 0.1
    assert line.exchange("M105", within_s=5).acknowledged == board.report


def test_a_board_that_missed_the_stop_is_told_again(board: Any, opened: Any) -> None:
    line = opened(board)
    line.exchange("M104 S200", within_s=2)
    board.deaf = True  # its wait goes on
    line.stop()
    assert wait_until(lambda: board.commands().count("M108") > 1, 8)
    board.deaf = False
    assert line.exchange("M105", within_s=5).acknowledged == board.report


CLIENT = """
import signal, sys
from pathlib import Path
from asleft.controller.line import open_line
from asleft.link import GuardLimits
line = open_line(sys.argv[1], wire_log=Path(sys.argv[2]), holder="client", limits=GuardLimits())
def stop(*_):
    line.stop()
if sys.argv[3] == "handled":
    signal.signal(signal.SIGINT, stop)
    signal.signal(signal.SIGTERM, stop)
line.exchange("M104 S200", within_s=5)
print(line.owner_pid, flush=True)
try:
    line.exchange("M400", within_s=60)
finally:
    line.close()
"""


@pytest.fixture
def client(
    board: Any, tmp_path: Path, request: pytest.FixtureRequest
) -> Iterator[subprocess.Popen[str]]:
    how = getattr(request, "param", "handled")
    board.script["M400"] = lambda _: None
    with subprocess.Popen(
        [sys.executable, "-c", CLIENT, board.address, str(tmp_path / "wire.log"), how],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        try:
            yield process
        finally:
            process.kill()


def test_a_killed_client_leaves_a_cold_machine(
    board: Any, client: subprocess.Popen[str], opened: Any
) -> None:
    assert client.stdout is not None and client.stdout.readline().strip().isdigit()
    assert wait_until(lambda: "M400" in board.commands())
    client.kill()
    killed_s = time.monotonic()
    assert wait_until(lambda: "M140 S0" in board.commands())
    assert board.when("M104 S0") - killed_s < 0.5
    board.script.clear()
    assert wait_until(lambda: _opens(opened, board), 10)  # the owner has gone, its lock with it


def _opens(opened: Any, board: Any) -> bool:
    try:
        opened(board)
    except LineError:
        return False
    return True


@posix
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_stops_within_100_ms(
    board: Any, client: subprocess.Popen[str], number: int
) -> None:
    assert client.stdout is not None and client.stdout.readline()
    assert wait_until(lambda: "M400" in board.commands())
    sent_s = time.monotonic()
    client.send_signal(number)
    assert wait_until(lambda: "M140 S0" in board.commands())
    assert board.when("M108") - sent_s < 0.1
    assert board.when("M140 S0") - sent_s < 0.1
    assert "Stopped" in client.communicate(timeout=20)[1]


@posix
@pytest.mark.parametrize("client", ["not handled"], indirect=True)
def test_an_interrupt_that_nobody_handles_ends_the_exchange_too(
    board: Any, client: subprocess.Popen[str]
) -> None:
    assert client.stdout is not None and client.stdout.readline()
    assert wait_until(lambda: "M400" in board.commands())
    sent_s = time.monotonic()
    client.send_signal(signal.SIGINT)
    assert wait_until(lambda: "M140 S0" in board.commands())
    assert board.when("M140 S0") - sent_s < 0.3  # not after the 60 s of the exchange
    assert "KeyboardInterrupt" in client.communicate(timeout=20)[1]


@posix
def test_a_serial_port_of_unknown_speed(opened: Any) -> None:
    board = _board.Board(pty=True)
    try:
        line = opened(board)
        assert line.facts.rate_baud == 115200
        assert line.exchange("M105", within_s=2).acknowledged == board.report
        line.close()
    finally:
        board.end()


def test_heaters_off_first_after_a_crash(board: Any, opened: Any) -> None:
    opened(board, heaters_off_first=True)
    assert board.commands()[:2] == ["M104 S0", "M140 S0"]


def test_a_stop_on_an_unplugged_cold_machine_does_not_hang(board: Any, opened: Any) -> None:
    line = opened(board)
    line.exchange("G28", within_s=2)
    board.end()
    with pytest.raises(LineError):
        wait_until(lambda: line.exchange("M105", within_s=2) is None)
    with pytest.raises(LineError):
        line.stop()
    started_s = time.monotonic()
    with contextlib.suppress(LineError):
        line.close()
    assert time.monotonic() - started_s < 8


@posix
def test_the_owner_told_to_go_makes_safe_first(board: Any, opened: Any) -> None:
    line = opened(board)
    line.exchange("M104 S200", within_s=2)
    os.kill(line.owner_pid, signal.SIGINT)  # a Ctrl-C is not for it
    assert line.exchange("M105", within_s=2).acknowledged
    os.kill(line.owner_pid, signal.SIGTERM)
    assert wait_until(lambda: "M140 S0" in board.commands())
    with pytest.raises(LineError, match="gone"):
        wait_until(lambda: line.exchange("M105", within_s=2) is None)
    with pytest.raises(LineError, match="gone"):
        line.close()


def cools(board: Any) -> bool:
    board.report = board.report.replace("/200.0", "/0.0")
    return False  # and obeys as usual


def test_over_the_limit_while_nobody_asks(board: Any, opened: Any) -> None:
    line = opened(board, limits={"poll_s": 0.3})
    line.exchange("M104 S200", within_s=2)
    board.report = "T:300.0 /200.0 B:21.0 /0.0"
    board.script["M104 S0"] = lambda _: cools(board)
    asked_s = time.monotonic()
    assert wait_until(lambda: "M104 S0" in board.commands())
    assert board.when("M104 S0") - asked_s < 1.0
    with pytest.raises(MachineError, match=r"300 °C, above its limit of 260 °C"):
        line.exchange("G1 X5", within_s=2)
    assert "G1 X5" not in board.commands()
    assert any(n.kind == "error" for n in line.notices())


def test_over_the_limit_in_mid_exchange(board: Any, opened: Any) -> None:
    board.script["G1"] = lambda _: board.say(" T:290.0 /200.0 B:21.0 /0.0")
    line = opened(board)
    line.exchange("M104 S200", within_s=2)
    with pytest.raises(MachineError, match="290"):
        line.exchange("G1 X5", within_s=30)
    assert wait_until(lambda: "M104 S0" in board.commands())


def test_rising_unasked_is_seen_though_the_work_leaves_no_pause(board: Any, opened: Any) -> None:
    at_c = iter(range(22, 500, 12))

    def tell(_: str) -> bool:
        board.say(f"ok T:{next(at_c)} /0.0 B:21.0 /0.0")
        return True

    def finish(_: str) -> bool:
        threading.Timer(0.15, board.say, ["ok"]).start()
        return True

    board.script["M105"], board.script["M400"] = tell, finish
    line = opened(board, limits={"poll_s": 0.2})
    with pytest.raises(MachineError, match="rising"):
        for _ in range(30):
            line.exchange("M400", within_s=2)
    assert "M104 S0" in board.commands()


def test_idle_switches_off(board: Any, opened: Any) -> None:
    line = opened(board, limits={"idle_off_s": 0.5, "poll_s": 0.2})
    line.exchange("M104 S200", within_s=2)
    assert wait_until(lambda: "M104 S0" in board.commands(), 3)
    assert wait_until(lambda: any("no command came" in n.text for n in line.notices()))
    assert line.exchange("M105", within_s=2).acknowledged


def test_a_lost_line_comes_back_cold(board: Any, opened: Any) -> None:
    board.script["G1"] = lambda _: board.unplug()
    line = opened(board)
    line.exchange("M104 S200", within_s=2)
    with pytest.raises(LineError, match=r"Heaters off was confirmed \(after reopening"):
        line.exchange("G1 X5", within_s=30)
    commands = board.commands()
    assert commands[commands.index("G1 X5") + 1] == "M104 S0"  # before anything else
    assert line.exchange("M105", within_s=2).acknowledged


def test_a_silent_machine_is_said_to_be_hot(board: Any, opened: Any) -> None:
    line = opened(board, safe_within_s=3.0)
    line.exchange("M104 S200", within_s=2)
    board.deaf = True
    started_s = time.monotonic()
    with pytest.raises(LineError, match="power switch"):
        line.exchange("G1 X5", within_s=0.3)
    assert time.monotonic() - started_s < 6
    assert board.when("M104 S0") - started_s < 0.5  # before the line is put right
    assert sum(text == "M104 S0" for _, text in board.received) > 1  # without number
    assert sum(text.startswith("N") and "M104 S0*" in text for _, text in board.received) > 1
    board.deaf = False


def test_every_tool_is_switched_off() -> None:
    assert cool_codes(1) == ["M104 S0", "M140 S0"]
    assert cool_codes(2) == ["M104 T0 S0", "M104 T1 S0", "M140 S0"]


def test_wrong_addresses_and_nobody_there(opened: Any) -> None:
    with pytest.raises(InputError):
        opened("socket://nowhere")
    with pytest.raises(LineError, match="no such port"):
        opened("/dev/ttyNotThere")


def test_with_the_practice_machine(opened: Any) -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "asleft.practice", "--seed", "1", "--speed", "300"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as practice:
        assert practice.stdout is not None
        address = json.loads(practice.stdout.readline())["address"]
        line = opened(address)
        assert any("M92" in text for text in line.exchange("M503", within_s=5).lines)
        line.exchange("M104 S200", within_s=5)
        assert wait_until(
            lambda: "/200" in line.exchange("M105", within_s=5).acknowledged, within_s=5
        )
        line.close()
        practice.kill()


def garbles_heaters_off(board: Any) -> None:
    """Heaters off arrives garbled, numbered or not; the ok behind it comes all the same."""
    board.report = "T:200.0 /200.0 B:21.0 /0.0"
    for line in ("M104 S0", "M140 S0"):
        board.script[line] = lambda _: board.say('echo:Unknown command: "M1Q4 S0"', "ok")


def test_an_ok_alone_does_not_confirm_heaters_off(board: Any, opened: Any) -> None:
    line = opened(board, safe_within_s=1.0)
    line.exchange("M104 S200", within_s=2)
    garbles_heaters_off(board)
    line.exchange("M104 S0", within_s=2)
    with pytest.raises(LineError, match=r"could NOT be confirmed within 1 s.*power switch"):
        line.close()


@pytest.mark.parametrize("said", [["ok"], ['echo:Unknown command: "M104"', "ok"]])
def test_without_targets_the_answers_count(board: Any, opened: Any, said: list[str]) -> None:
    board.report = "T:200.0 B:21.0"
    board.script["M104 S0"] = lambda _: board.say(*said)
    line = opened(board, safe_within_s=1.0)
    line.exchange("M104 S200", within_s=2)
    if said == ["ok"]:
        line.close()
        return
    with pytest.raises(LineError, match="could NOT be confirmed"):
        line.close()


def test_while_it_may_be_hot_nothing_else_goes_out_and_nobody_waits_again(
    board: Any, opened: Any
) -> None:
    line = opened(board, safe_within_s=3.0)
    line.exchange("M104 S200", within_s=2)
    board.deaf = True
    with pytest.raises(LineError, match="power switch"):
        line.exchange("G1 X5", within_s=0.3)
    asked_s = time.monotonic()
    for command in ("M302 P0", "M82", "M104 S0"):
        with pytest.raises(LineError, match=r"no answer to 'G1 X5'.*power switch"):
            line.exchange(command, within_s=10)
    assert time.monotonic() - asked_s < 0.5
    assert "M82" not in board.commands()
    board.deaf = False  # it is tried on behind the scenes
    assert wait_until(lambda: any("was confirmed" in n.text for n in line.notices()), 10)
    assert line.exchange("M105", within_s=2).acknowledged


SENDS_NOTHING = ("M104", "M140", "M108", "M410", "M112")


def test_a_question_that_fails_leaves_a_print_alone(board: Any, opened: Any) -> None:
    board.report = "T:200.0 /205.0 B:60.0 /60.0"
    board.script["M114"] = lambda _: None  # busy with a long move
    line = opened(board, limits={"poll_s": 0.2})
    line.exchange("M105", within_s=2)
    with pytest.raises(LineError) as caught:
        line.exchange("M114", within_s=0.3)
    assert "eaters" not in caught.value.message
    line.close()
    assert not [c for c in board.commands() if c.startswith(SENDS_NOTHING)]


def test_a_stop_while_asking_leaves_a_print_alone(board: Any, opened: Any) -> None:
    board.report = "T:200.0 /205.0 B:60.0 /60.0"
    board.script["M114"] = lambda _: None
    line = opened(board)
    line.exchange("M105", within_s=2)
    caught: list[Exception] = []

    def ask() -> None:
        try:
            line.exchange("M114", within_s=60)
        except Stopped as error:
            caught.append(error)

    thread = threading.Thread(target=ask)
    thread.start()
    assert wait_until(lambda: "M114" in board.commands())
    line.stop()
    thread.join(2)
    assert caught and not thread.is_alive()
    line.close()
    assert not [c for c in board.commands() if c.startswith(SENDS_NOTHING)]


def test_a_killed_client_that_only_asked_leaves_a_print_alone(
    board: Any, opened: Any, tmp_path: Path
) -> None:
    board.report = "T:200.0 /205.0 B:60.0 /60.0"
    board.script["M400"] = lambda _: None
    asking = CLIENT.replace('"M104 S200"', '"M105"')
    arguments = [board.address, str(tmp_path / "wire.log"), "not handled"]
    with subprocess.Popen(
        [sys.executable, "-c", asking, *arguments], stdout=subprocess.DEVNULL
    ) as client:
        assert wait_until(lambda: "M400" in board.commands())
        client.kill()
    assert wait_until(lambda: _opens(opened, board), 10)  # its owner has gone
    assert not [c for c in board.commands() if c.startswith(SENDS_NOTHING)]


def test_other_limits_and_tools_after_opening(board: Any, opened: Any) -> None:
    line = opened(board)
    line.limit(GuardLimits(max_nozzle_c=230.0), tuple(cool_codes(2)))
    with pytest.raises(RefusedError, match="230"):
        line.exchange("M104 T1 S240", within_s=2)
    line.exchange("M104 T1 S220", within_s=2)
    line.close()
    assert {"M104 T0 S0", "M104 T1 S0", "M140 S0"} <= set(board.commands())


@posix
def test_a_full_disk_does_not_keep_the_heaters_on(board: Any, opened: Any) -> None:
    import resource

    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (4096, hard))  # the owner inherits it
    try:
        line = opened(board)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    line.exchange("M104 S200", within_s=2)
    for _ in range(60):
        assert line.exchange("M105", within_s=2).acknowledged
    assert [n.kind for n in line.notices() if "wire log is not complete" in n.text] == ["error"]
    line.close()
    assert {"M104 S0", "M140 S0"} <= set(board.commands())
    assert Path(line.facts.wire_log).stat().st_size <= 4096
    assert list(read_wire_log(Path(line.facts.wire_log)))
