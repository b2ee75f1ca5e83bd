"""The cable between board and owner, and the owner's session without its process.

Bytes go through a pair of sockets, so that pieces, losses and ends are the system's. What runs on
both sides is the program's own: only the border between its processes is left out.
"""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from benchmarks.faults.own_time import OwnTimeLoop

from asleft.controller.codes import cool_codes
from asleft.controller.owner_config import OwnerConfig
from asleft.controller.owner_session import Session
from asleft.errors import LineError
from asleft.link.answer import Answer, LineFacts, Notice
from asleft.link.guard import GuardLimits


class Cable:
    """The board's end, and a `Transport` for the owner's end; `out` while it is pulled.

    Args:
        receive: the board's ear.
        opened: told whenever the owner opens its end.
    """

    is_socket = True
    rate_baud: int | None = None

    def __init__(self, receive: Callable[[bytes], None], opened: Callable[[], None]) -> None:
        self._receive, self._opened = receive, opened
        self._board: asyncio.StreamWriter | None = None
        self._ears: asyncio.Task[None] | None = None
        self._reader: asyncio.StreamReader | None = None
        self._writer: asyncio.StreamWriter | None = None
        self.out = False

    def say(self, data: bytes) -> None:
        """The board's words; lost where nobody listens."""
        if self._board is not None and not self._board.is_closing():
            self._board.write(data)

    def pull(self) -> None:
        """Out it comes."""
        self.out = True
        if self._board is not None:
            self._board.transport.abort()
            self._board = None

    def plug(self) -> None:
        """In again; nothing is open yet."""
        self.out = False

    async def open(self) -> None:
        """The owner opens its end."""
        if self.out:
            raise LineError("there is no such port", where=self.describe())
        ours, boards = socket.socketpair()
        ears, self._board = await asyncio.open_connection(sock=boards)
        self._reader, self._writer = await asyncio.open_connection(sock=ours)
        self._ears = asyncio.create_task(self._listen(ears, self._board))
        self._opened()

    async def _listen(self, ears: asyncio.StreamReader, mouth: asyncio.StreamWriter) -> None:
        try:
            while data := await ears.read(4096):
                self._receive(data)
        except ConnectionError:
            pass
        finally:
            mouth.close()

    async def read(self) -> bytes:
        """What came; empty at the end."""
        assert self._reader is not None
        return await self._reader.read(65536)

    def write(self, data: bytes) -> None:
        """To the board."""
        if self._writer is None or self._writer.is_closing() or self.out:
            raise LineError("the connection is gone", where=self.describe())
        self._writer.write(data)

    async def close(self) -> None:
        """The owner closes its end."""
        writer, self._writer = self._writer, None
        if writer is not None:
            writer.close()

    async def set_rate(self, rate_baud: int) -> None:
        """There is none."""

    def describe(self) -> str:
        """In words."""
        return "the cable"


class SessionLine:
    """A `link.Line` over a session in this process: each call runs the loop until it is done."""

    def __init__(self, session: Session, loop: OwnTimeLoop) -> None:
        self._session, self._loop = session, loop
        self.facts: LineFacts = loop.run(self._opened())
        self._closed = False

    async def _opened(self) -> LineFacts:
        try:
            return await self._session.open()
        except BaseException:
            await self._session.close()
            raise

    def exchange(self, command: str, *, within_s: float) -> Answer:
        """See `link.answer.Line.exchange`."""
        return self._loop.run(self._session.exchange(command, within_s))

    def notices(self) -> list[Notice]:
        """See `link.answer.Line.notices`."""
        return self._loop.run(_at_once(self._session.notices))

    def limit(self, limits: GuardLimits, safe_lines: tuple[str, ...]) -> None:
        """See `link.answer.Line.limit`."""
        self._session.limit(GuardLimits(**asdict(limits)), safe_lines)

    def is_lost(self) -> bool:
        """See `link.answer.Line.is_lost`."""
        return self._session.is_lost()

    def reopen(self, *, within_s: float) -> LineFacts:
        """See `link.answer.Line.reopen`."""
        self.facts = self._loop.run(self._session.reopen(within_s))
        return self.facts

    def stop(self) -> None:
        """See `link.answer.Line.stop`."""
        self._loop.run(_at_once(self._session.stop))

    def close(self) -> None:
        """See `link.answer.Line.close`."""
        if self._closed:
            return
        self._closed = True
        outcome = self._loop.run(self._session.close())
        if outcome is not None and not outcome.confirmed:
            raise LineError(outcome.words(), where=self._session.config.address)


async def _at_once(call: Callable[[], Any]) -> Any:
    """A call that starts tasks needs a loop that runs."""
    return call()


def opener(loop: OwnTimeLoop, cable: Cable) -> Callable[..., SessionLine]:
    """What stands in for `controller.line.open_line`, with the same arguments."""

    def open_line(
        address: str,
        *,
        rate_baud: int | None,
        wire_log: Path,
        holder: str,
        limits: GuardLimits,
        tools: int,
        heaters_off_first: bool,
    ) -> SessionLine:
        config = OwnerConfig(
            address=address,
            rate_baud=rate_baud,
            wire_log=str(wire_log),
            holder=holder,
            limits=limits,
            safe_lines=tuple(cool_codes(tools)),
            heaters_off_first=heaters_off_first,
        )
        return SessionLine(Session(config, cable), loop)

    return open_line
