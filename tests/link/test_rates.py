"""Speeds found without reopening, and control lines left alone, as far as a pseudo-terminal tells.

It keeps the speed that was set: the board here looks at it and answers noise where it is not its
own. It has no DTR and no RTS: that no hang-up is asked for can be shown, not what an adapter does.
Structure and request number: from memory, asm-generic/termbits.h and ioctls.h of Linux.
"""

from __future__ import annotations

import asyncio
import platform
import struct
import sys
from pathlib import Path
from typing import Any

import pytest

from asleft.errors import LineError
from asleft.link.conversation import Conversation
from asleft.link.transport import PortTransport
from asleft.link.wire import Wire
from asleft.link.wirelog import WireLog, read_wire_log

pytestmark = pytest.mark.skipif(
    sys.platform != "linux" or platform.machine() not in ("x86_64", "aarch64"),
    reason="the layout of the speeds is this system's",
)

TCGETS2 = 0x802C542A
LAYOUT = "=4I20B2I"
HUPCL = 0o2000
NOISE = b"\xf3\x00\xe6\x8c\xff\x9b"


def speed_and_flags(board: Any) -> tuple[int, int]:
    """What the terminal is set to: baud (to the board), control flags."""
    import fcntl

    told = fcntl.ioctl(board._slave, TCGETS2, bytes(struct.calcsize(LAYOUT)))
    values = struct.unpack(LAYOUT, told)
    return values[-1], values[2]


def at_speed_only(board: Any, rate_baud: int, seen: list[int]) -> None:
    """Have the board hear nothing but noise at another speed, and answer with noise."""
    obey = board._obey

    def hear(line: str) -> None:
        speed = speed_and_flags(board)[0]
        if line and (not seen or seen[-1] != speed):
            seen.append(speed)
        if speed == rate_baud:
            obey(line)
        elif line:
            board.raw(NOISE)

    board._obey = hear


@pytest.mark.parametrize("rate_baud", [115200, 250000, 1000000])
def test_a_speed_is_found_without_reopening(
    make_board: Any, tmp_path: Path, rate_baud: int
) -> None:
    from asleft.controller.owner_session import RATES_BAUD

    board, seen = make_board(pty=True), []
    at_speed_only(board, rate_baud, seen)
    log = WireLog(tmp_path / "wire.log")
    transport = PortTransport(board.address)

    async def run() -> None:
        talk = Conversation(Wire(transport, log), rates_baud=RATES_BAUD)
        await talk.open()
        assert (await talk.exchange("M105", within_s=2)).acknowledged == board.report
        await talk.close()

    asyncio.run(run())
    log.close()
    assert transport.rate_baud == rate_baud
    assert seen == list(RATES_BAUD[: RATES_BAUD.index(rate_baud) + 1])
    notes = [c.data for c in read_wire_log(tmp_path / "wire.log") if c.direction == "#"]
    assert sum(note.startswith(b"opened") for note in notes) == 1


@pytest.mark.parametrize("rate_baud", [9600, 74880, 250000, 256000, 12345])
def test_any_speed_that_was_said(make_board: Any, rate_baud: int) -> None:
    board = make_board(pty=True)

    async def run() -> None:
        transport = PortTransport(board.address, rate_baud)
        await transport.open()
        assert speed_and_flags(board)[0] == rate_baud
        await transport.set_rate(250000)
        assert speed_and_flags(board)[0] == 250000
        assert not speed_and_flags(board)[1] & HUPCL
        transport.write(b"M105\n")
        assert await asyncio.wait_for(transport.read(), 2)
        await transport.close()
        assert not speed_and_flags(board)[1] & HUPCL  # nor for whoever opens it next

    asyncio.run(run())


def test_a_second_program_cannot_open_it(make_board: Any) -> None:
    board = make_board(pty=True)

    async def run() -> None:
        first, second = PortTransport(board.address, 115200), PortTransport(board.address, 115200)
        await first.open()
        with pytest.raises(LineError):
            await second.open()
        await first.close()

    asyncio.run(run())
