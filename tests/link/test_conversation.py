"""The conversation on real sockets and pseudo-terminals, against boards that misbehave.

Each shape of trouble is common practice, no source; the demand is always the same: an answer
belongs to its own question, and what cannot be mended is told.
"""

from __future__ import annotations

import asyncio
import random
import sys
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest

from asleft.errors import LineError, MachineError, MachineResetError, Stopped
from asleft.link.conversation import Conversation
from asleft.link.transport import PortTransport
from asleft.link.wire import Wire
from asleft.link.wirelog import WireLog, read_wire_log

MakeBoard = Callable[..., Any]
posix = pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are of POSIX")
both = pytest.mark.parametrize("pty", [False, pytest.param(True, marks=posix)])


@pytest.fixture
def talking(tmp_path: Path) -> Callable[..., Any]:
    @asynccontextmanager
    async def talk(board: Any, **options: Any) -> AsyncIterator[Conversation]:
        log = WireLog(tmp_path / "wire.log")
        wire = Wire(PortTransport(board.address, 115200), log, **options)
        conversation = Conversation(wire)
        try:
            conversation.restarted = await conversation.open()  # type: ignore[attr-defined]
            yield conversation
        finally:
            await conversation.close()
            log.close()

    return talk


@both
def test_plain_questions(make_board: MakeBoard, talking: Any, tmp_path: Path, pty: bool) -> None:
    board = make_board(pty=pty)
    board.script["M503"] = lambda _: board.say("echo:; Steps", "echo:  M92 X80.00", " T:1 /0", "ok")

    async def run() -> None:
        async with talking(board) as talk:
            assert not talk.restarted
            answer = await talk.exchange("M105", within_s=2)
            assert answer.acknowledged == board.report
            answer = await talk.exchange("M503", within_s=2)
            assert answer.lines == ("echo:; Steps", "echo:  M92 X80.00")
            assert answer.errors == ()
            assert [n.kind for n in talk.notices()] == ["temperature"]

    asyncio.run(run())
    sent = b"".join(c.data for c in read_wire_log(tmp_path / "wire.log") if c.direction == ">")
    assert sent.count(b"M503*") == 1
    assert sent.decode().split("\n")[1:-1] == [line for _, line in board.received]


@both
def test_split_and_garbled_bytes(make_board: MakeBoard, talking: Any, pty: bool) -> None:
    board = make_board(pty=pty)

    def slowly(_: str) -> None:
        for byte in b"X:1.00 \xff\xfe Y:2.00\r\nok\r\n":
            board.raw(bytes([byte]))
            time.sleep(0.002)

    board.script["M114"] = slowly

    async def run() -> None:
        async with talking(board) as talk:
            answer = await talk.exchange("M114", within_s=2)
            assert len(answer.lines) == 1 and answer.lines[0].startswith("X:1.00")

    asyncio.run(run())


def test_a_late_answer_is_never_the_next_one(make_board: MakeBoard, talking: Any) -> None:
    board = make_board()

    def late(_: str) -> None:
        time.sleep(0.6)
        board.say("X:1.00 Y:2.00", "ok")

    board.script["M114"] = late
    board.script["M92"] = lambda _: board.say("echo:  M92 X80.00", "ok")

    async def run() -> None:
        async with talking(board) as talk:
            with pytest.raises(LineError, match=r"M114.*last thing heard"):
                await talk.exchange("M114", within_s=0.3)
            answer = await talk.exchange("M92", within_s=2)
            assert answer.lines == ("echo:  M92 X80.00",)
            assert not any("X:1" in line for line in answer.lines)

    asyncio.run(run())


@pytest.mark.parametrize(("command", "times"), [("M503", 2), ("M92 X80.5", 1), ("M500", 1)])
def test_what_only_asks_is_asked_once_more(
    make_board: MakeBoard, talking: Any, command: str, times: int
) -> None:
    board = make_board()
    lost = [True]

    def once(_: str) -> bool:
        if lost:
            lost.pop()
            return True  # and its ok is lost
        board.say("echo:  M92 X80.00", "ok")
        return True

    board.script[command] = once

    async def run() -> None:
        async with talking(board) as talk:
            if times == 2:
                answer = await talk.exchange(command, within_s=0.3)
                assert answer.lines == ("echo:  M92 X80.00",)
            else:
                with pytest.raises(LineError, match=r"no answer to"):
                    await talk.exchange(command, within_s=0.3)
        assert board.commands().count(command) == times

    asyncio.run(run())


@pytest.mark.parametrize("gap_s", [0.0, 0.002])
def test_doubled_ok(make_board: MakeBoard, talking: Any, gap_s: float) -> None:
    board = make_board()
    asked = {f"M{code}": f"answer {code}" for code in range(200, 212)}

    def twice(line: str) -> None:
        board.say(asked[board.bare(line)], "ok")
        time.sleep(gap_s)
        board.say("ok")

    board.script.update(dict.fromkeys(asked, twice))

    async def run() -> None:
        async with talking(board, quiet_s=0.01) as talk:
            for command, wanted in asked.items():
                assert (await talk.exchange(command, within_s=2)).lines == (wanted,)

    asyncio.run(run())


def test_a_doubled_ok_that_comes_late_is_known_by_its_number(
    make_board: MakeBoard, talking: Any
) -> None:
    board = make_board()

    def named(line: str) -> None:
        number = line[1:].split(maxsplit=1)[0]
        time.sleep(0.02)  # the doubled one of the line before lands here
        board.say(f"ok N{int(number) - 1} P7 B2", f"answer {number}", f"ok N{number} P7 B2")

    board.script["M114"] = named

    async def run() -> None:
        async with talking(board) as talk:
            for _ in range(5):
                answer = await talk.exchange("M114", within_s=2)
                assert answer.lines == (f"answer {board.last}",)
                assert answer.acknowledged == ""

    asyncio.run(run())


def test_a_lost_ok_is_a_time_out_and_the_line_recovers(make_board: MakeBoard, talking: Any) -> None:
    board = make_board()
    board.script["G1"] = lambda _: board.say("wait")

    async def run() -> None:
        async with talking(board) as talk:
            with pytest.raises(LineError, match=r"no answer to 'G1 X5' within 0\.2"):
                await talk.exchange("G1 X5", within_s=0.2)
            assert (await talk.exchange("M105", within_s=2)).acknowledged == board.report

    asyncio.run(run())
    assert board.commands().count("G1 X5") == 1  # a move is never sent twice on doubt


@pytest.mark.parametrize("form", ["Resend: {}", "Resend:{}", "rs {}", "rs N{}"])
@pytest.mark.parametrize("behind", [("ok",), (), ("again", "ok")])
def test_resend_with_and_without_ok(
    make_board: MakeBoard, talking: Any, form: str, behind: tuple[str, ...]
) -> None:
    board = make_board()
    refused: list[str] = []

    def once(line: str) -> None:
        if not refused:
            refused.append(line)
            board.last -= 1
            request = form.format(board.last + 1)
            more = (request, "ok") if behind[:1] == ("again",) else behind
            board.say("Error:checksum mismatch", request, *more)
        else:
            board.say("X:1.00", "ok")

    board.script["M114"] = once

    async def run() -> None:
        async with talking(board) as talk:
            answer = await talk.exchange("M114", within_s=3)
            assert (answer.lines, answer.errors) == (("X:1.00",), ())
            assert (await talk.exchange("M105", within_s=2)).acknowledged == board.report

    asyncio.run(run())
    assert board.commands().count("M114") == 2


def test_resend_without_end_is_bounded(make_board: MakeBoard, talking: Any) -> None:
    board = make_board()

    def never(_: str) -> None:
        board.last -= 1
        board.say("Error:checksum mismatch", f"Resend: {board.last + 1}", "ok")

    board.script["M114"] = never

    async def run() -> None:
        async with talking(board) as talk:
            with pytest.raises(LineError, match="more than 10 times"):
                await talk.exchange("M114", within_s=20)

    asyncio.run(run())
    assert board.commands().count("M114") == 11


def test_another_number_asked_for_is_agreed_anew(make_board: MakeBoard, talking: Any) -> None:
    board = make_board()
    board.script["M114"] = lambda _: board.say("X:1.00", "ok")

    async def run() -> None:
        async with talking(board) as talk:
            for _ in range(5):
                await talk.exchange("M105", within_s=2)
            board.last = 4711
            assert (await talk.exchange("M114", within_s=3)).lines == ("X:1.00",)
            assert (await talk.exchange("M105", within_s=2)).acknowledged == board.report

    asyncio.run(run())


def test_a_restart_whose_banner_was_lost_shows_in_the_numbers(
    make_board: MakeBoard, talking: Any
) -> None:
    board = make_board()

    async def run() -> None:
        async with talking(board) as talk:
            for _ in range(5):
                await talk.exchange("M105", within_s=2)
            board.last = 0
            with pytest.raises(MachineResetError):
                await talk.exchange("G1 X5", within_s=3)
            assert (await talk.exchange("M105", within_s=2)).acknowledged == board.report

    asyncio.run(run())


@both
@pytest.mark.parametrize("word", ["start", "echo:start", "echo: Free Memory: 4096"])
def test_banner_in_mid_session(make_board: MakeBoard, talking: Any, word: str, pty: bool) -> None:
    board = make_board(pty=pty)
    board.script["G28"] = lambda _: board.restart(word, "echo:Build 7", "echo: Free Memory: 4096")

    async def run() -> None:
        async with talking(board) as talk:
            await talk.exchange("M105", within_s=2)
            started_s = time.monotonic()
            with pytest.raises(MachineResetError):
                await talk.exchange("G28", within_s=30)
            assert time.monotonic() - started_s < 2
            assert (await talk.exchange("M105", within_s=2)).acknowledged == board.report
            assert [n.kind for n in talk.notices()].count("reset") == 1

    asyncio.run(run())


def test_a_restart_between_questions_is_told_once(make_board: MakeBoard, talking: Any) -> None:
    board = make_board()

    async def run() -> None:
        async with talking(board) as talk:
            board.restart()
            await asyncio.sleep(0.05)
            with pytest.raises(MachineResetError):
                await talk.exchange("G1 X5", within_s=2)
            await talk.exchange("M105", within_s=2)
            board.restart()
            await asyncio.sleep(0.05)
            assert "reset" in [n.kind for n in talk.notices()]  # told here, so not raised
            await talk.exchange("M105", within_s=2)

    asyncio.run(run())
    assert "G1 X5" not in board.commands()


def test_busy_extends_and_halted_ends(make_board: MakeBoard, talking: Any) -> None:
    board = make_board()

    def busy(_: str) -> None:
        for _ in range(4):
            time.sleep(0.2)
            board.say("echo:busy: processing")
        board.say("ok")

    board.script["G28"] = busy
    board.script["M999"] = lambda _: board.say("Error:Printer halted. kill() called!")
    board.script["M302"] = lambda _: board.say("!! not now", "ok")

    async def run() -> None:
        async with talking(board) as talk:
            assert (await talk.exchange("G28", within_s=0.35)).elapsed_s > 0.7
            assert (await talk.exchange("M302", within_s=1)).errors == ("!! not now",)
            with pytest.raises(MachineError, match="halted"):
                await talk.exchange("M999", within_s=5)
            with pytest.raises(MachineError, match="halted"):
                await talk.exchange("M105", within_s=5)

    asyncio.run(run())


def test_a_chatty_board(make_board: MakeBoard, talking: Any) -> None:
    board = make_board()
    chatter = ["// prompt", " T:20.0 /0.0", "wait", '{"note":"ok"}', "queue ok", "//action:x"]
    board.script["M92"] = lambda _: board.say(*chatter * 50, "M92 X80.00", *chatter, "ok")

    async def run() -> None:
        async with talking(board) as talk:
            for _ in range(3):
                answer = await talk.exchange("M92", within_s=2)
                assert answer.lines.count("M92 X80.00") == 1
                assert not any(line.startswith("T:") for line in answer.lines)
            assert len(talk.notices()) == 3 * 51 * 2

    asyncio.run(run())


def test_noise_inside_and_between_answers(make_board: MakeBoard, talking: Any) -> None:
    board = make_board()
    chance = random.Random(5)

    def noisy(_: str) -> None:
        board.raw(chance.randbytes(5000).replace(b"ok", b"xx") + b"\nX:1.00\n")
        board.raw(chance.randbytes(5000).replace(b"ok", b"xx") + b"\nok\n")

    board.script["M114"] = noisy

    async def run() -> None:
        async with talking(board) as talk:
            for _ in range(10):
                assert "X:1.00" in (await talk.exchange("M114", within_s=2)).lines

    asyncio.run(run())


@both
def test_unplugged(make_board: MakeBoard, talking: Any, pty: bool) -> None:
    board = make_board(pty=pty)
    board.script["G28"] = lambda _: board.unplug()

    async def run() -> None:
        async with talking(board) as talk:
            started_s = time.monotonic()
            with pytest.raises(LineError, match=r"(connection|line).*; the last thing heard was "):
                await talk.exchange("G28", within_s=20)
            assert time.monotonic() - started_s < 2
            with pytest.raises(LineError):
                await talk.exchange("M105", within_s=2)

    asyncio.run(run())


def test_stop_goes_out_ahead(make_board: MakeBoard, talking: Any) -> None:
    board = make_board()
    board.script["M109"] = lambda _: None  # blocks: no ok until somebody breaks it off
    times: list[float] = []

    async def run() -> None:
        async with talking(board) as talk:
            blocked = asyncio.create_task(talk.exchange("M109 S200", within_s=30))
            queued = asyncio.create_task(talk.exchange("G1 X5", within_s=30))
            await asyncio.sleep(0.1)
            times.append(time.monotonic())
            talk.stop(("M108", "M410"), ("M104 S0", "M140 S0"), Stopped("stopped"))
            for task in (blocked, queued):
                with pytest.raises(Stopped):
                    await task
            assert time.monotonic() - times[0] < 0.1
            assert (await talk.exchange("M105", within_s=2)).acknowledged == board.report

    asyncio.run(run())
    assert board.when("M140 S0") - times[0] < 0.1
    assert board.commands().index("M108") < board.commands().index("M104 S0")
    assert "G1 X5" not in board.commands()


@both
def test_opening_a_board_that_restarts(make_board: MakeBoard, talking: Any, pty: bool) -> None:
    board = make_board(pty=pty)
    board.deaf = True  # its boot loader swallows what is sent

    async def run() -> None:
        async def boot() -> None:
            await asyncio.sleep(1.3)
            board.deaf = False
            board.restart("\x00\x00start", "echo:Build 7", "echo: Free Memory: 4096")

        booting = asyncio.create_task(boot())
        async with talking(board) as talk:
            assert talk.restarted
            assert (await talk.exchange("M105", within_s=2)).acknowledged == board.report
            assert talk.notices() == [] or all(n.kind != "reset" for n in talk.notices())
        await booting

    asyncio.run(run())


@posix
def test_old_output_is_no_answer(make_board: MakeBoard, talking: Any) -> None:
    board = make_board(pty=True)
    board.say("X:9 ok", "ok", "ok T:99 /0 B:99 /0", "Resend: 77")

    async def run() -> None:
        async with talking(board) as talk:
            assert (await talk.exchange("M105", within_s=2)).acknowledged == board.report

    asyncio.run(run())


def test_nobody_there() -> None:
    async def run() -> None:
        with pytest.raises(LineError) as caught:
            await PortTransport("socket://127.0.0.1:9").open()
        assert caught.value.where == "socket://127.0.0.1:9"
        with pytest.raises(LineError, match="no such port"):
            await PortTransport("/dev/ttyNotThere").open()

    asyncio.run(run())


@pytest.mark.parametrize("ok_follows", [True, False])
def test_a_feed_whose_ok_was_lost_is_not_fed_twice(
    make_board: MakeBoard, talking: Any, ok_follows: bool
) -> None:
    board = make_board()

    def taken(_: str) -> None:
        board.say("Error:checksum mismatch", f"Resend: {board.last + 1}")
        if ok_follows:
            board.say("ok")

    board.script["G1 E5"] = taken

    async def run() -> None:
        async with talking(board) as talk:
            answer = await talk.exchange("G1 E5", within_s=3)
            assert answer.errors == ()
            assert (await talk.exchange("M114", within_s=2)).lines == ("X:1.00",)

    board.script["M114"] = lambda _: board.say("X:1.00", "ok")
    asyncio.run(run())
    assert board.commands().count("G1 E5") == 1


def test_a_late_ok_of_a_feed_is_not_that_of_the_next_line(
    make_board: MakeBoard, talking: Any
) -> None:
    board = make_board()

    def slow(_: str) -> None:
        board.say("Error:noise", f"Resend: {board.last + 1}", "ok")
        time.sleep(0.4)  # still at it; its own ok comes late
        board.say("ok")

    board.script["G1 E5"] = slow

    async def run() -> None:
        async with talking(board) as talk:
            started_s = time.monotonic()
            await talk.exchange("G1 E5", within_s=3)
            assert time.monotonic() - started_s > 0.35
            answer = await talk.exchange("M105", within_s=2)
            assert answer.acknowledged == board.report

    asyncio.run(run())
    assert board.commands().count("G1 E5") == 1


def test_a_feed_and_quite_another_number_is_told_and_not_sent_again(
    make_board: MakeBoard, talking: Any
) -> None:
    board = make_board()

    async def run() -> None:
        async with talking(board) as talk:
            for _ in range(5):
                await talk.exchange("M105", within_s=2)
            board.last = 4711
            with pytest.raises(LineError, match="asked for line 4712") as caught:
                await talk.exchange("G1 E5", within_s=3)
            assert "not known" in (caught.value.hint or "")
            assert (await talk.exchange("M105", within_s=2)).acknowledged == board.report

    asyncio.run(run())
    assert board.commands().count("G1 E5") == 1
