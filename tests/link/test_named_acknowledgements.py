"""Acknowledgements that name their line need no quiet before the next; others keep it.

Shapes are common practice, no source. The demand: sooner, and still no answer believed that was
said to another line.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import pytest

from asleft.errors import LineError
from asleft.link.conversation import Conversation
from asleft.link.transport import PortTransport
from asleft.link.wire import Wire
from asleft.link.wirelog import WireLog

QUIET_S = 0.03


@pytest.fixture
def talking(tmp_path: Path) -> Callable[..., Any]:
    @asynccontextmanager
    async def talk(board: Any) -> AsyncIterator[Conversation]:
        log = WireLog(tmp_path / "wire.log")
        conversation = Conversation(Wire(PortTransport(board.address), log, quiet_s=QUIET_S))
        await conversation.open()
        try:
            yield conversation
        finally:
            await conversation.close()
            log.close()

    return talk


def number_of(line: str) -> str:
    return line[1:].split(maxsplit=1)[0]


async def seconds_of(talk: Conversation, command: str, count: int) -> float:
    await talk.exchange(command, within_s=2)  # how such a line is acknowledged is learned here
    began_s = time.monotonic()
    for _ in range(count):
        await talk.exchange(command, within_s=2)
    return time.monotonic() - began_s


@pytest.mark.parametrize(
    ("before", "named", "waits"),
    [
        ((), True, False),
        ((), False, True),
        (("X:1.00",), True, True),  # lines of data name nothing
    ],
)
def test_who_waits_for_quiet(
    make_board: Any, talking: Any, before: tuple[str, ...], named: bool, waits: bool
) -> None:
    board = make_board()
    board.script["M114"] = lambda line: board.say(
        *before, f"ok N{number_of(line)} P7 B2" if named else "ok"
    )

    async def run() -> float:
        async with talking(board) as talk:
            return await seconds_of(talk, "M114", 20)

    assert (asyncio.run(run()) >= 20 * QUIET_S) is waits


def test_each_acknowledgement_twice_and_at_once(make_board: Any, talking: Any) -> None:
    board = make_board()

    def twice(line: str) -> None:
        said = f"ok N{number_of(line)} {board.bare(line)}"
        board.say(said, said)

    board.script["M105"] = lambda line: board.say(*[f"ok N{number_of(line)} {board.report}"] * 2)
    board.script.update({f"M{code}": twice for code in range(200, 205)})

    async def run() -> None:
        async with talking(board) as talk:
            for _ in range(20):
                for code in range(200, 205):
                    answer = await talk.exchange(f"M{code}", within_s=2)
                    assert answer.acknowledged == f"M{code}"

    asyncio.run(run())


@pytest.mark.parametrize("stray", ["ok", "ok N99", "ok T:99.0 /0.0"])
def test_another_acknowledgement_is_not_believed(make_board: Any, talking: Any, stray: str) -> None:
    board = make_board()
    asked: list[str] = []

    def answer(line: str) -> None:
        asked.append(line)
        if len(asked) > 1:  # the copy of an earlier one, with its number lost in the noise
            board.say("X:9.99", stray)
            time.sleep(0.02)
        board.say(f"ok N{number_of(line)} mine")

    board.script["M114"] = answer

    async def run() -> None:
        async with talking(board) as talk:
            for _ in range(3):
                answer = await talk.exchange("M114", within_s=2)
                assert (answer.acknowledged, answer.lines) == ("mine", ())

    asyncio.run(run())


def test_a_number_lost_is_told_and_learned_anew(make_board: Any, talking: Any) -> None:
    board = make_board()
    names = [True, True]
    board.script["M400"] = lambda line: board.say(
        f"ok N{number_of(line)}" if names and names.pop() else "ok"
    )

    async def run() -> None:
        async with talking(board) as talk:
            for _ in range(2):
                await talk.exchange("M400", within_s=2)
            with pytest.raises(LineError, match="no answer to 'M400'"):
                await talk.exchange("M400", within_s=0.3)
            for _ in range(2):  # from now on it names none
                await talk.exchange("M400", within_s=2)

    asyncio.run(run())


def test_a_line_asked_for_again_is_not_thereby_named(make_board: Any, talking: Any) -> None:
    board = make_board()
    refused: list[str] = []

    def once(line: str) -> None:
        if not refused:
            refused.append(line)
            board.last -= 1
            board.say("Error:checksum mismatch", f"Resend: {board.last + 1}", "ok")
        else:
            board.say("ok")

    board.script["M114"] = once

    async def run() -> None:
        async with talking(board) as talk:
            for _ in range(3):
                await talk.exchange("M114", within_s=0.5)

    asyncio.run(run())
