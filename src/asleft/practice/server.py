"""The two ends of the practice machine's wire: a loopback socket, or a pseudo-terminal (POSIX).

Bytes only; nothing here knows a command. One client at a time: a second one is closed at once.
Stands on asyncio.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import sys
from collections.abc import Callable
from typing import Protocol

Receive = Callable[[bytes], None]
BUFFER_BYTES = 65536
"""What an unread pseudo-terminal may owe; beyond it bytes are lost, as when nobody listens."""


class WireEnd(Protocol):
    """The machine's end of the wire."""

    address: str

    def send(self, data: bytes) -> None:
        """Send bytes to whoever listens; lost where nobody does."""
        ...

    def drop(self) -> None:
        """Pull the cable for a moment."""
        ...

    async def vanish(self) -> None:
        """Go as a port does whose board has no power; nobody can open it."""
        ...

    async def appear(self) -> None:
        """Be there again, under the same address."""
        ...

    async def close(self) -> None:
        """Let go of the wire."""
        ...


class SocketEnd:
    """A listening loopback socket."""

    def __init__(self, receive: Receive, opened: Callable[[], None]) -> None:
        self._receive, self._opened = receive, opened
        self._writer: asyncio.StreamWriter | None = None
        self._server: asyncio.Server | None = None
        self.address = ""

    async def open(self, port: int) -> None:
        """Listen on a loopback port; 0 takes a free one."""
        self._server = await asyncio.start_server(self._serve, "127.0.0.1", port)
        self.address = f"socket://127.0.0.1:{self._server.sockets[0].getsockname()[1]}"

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        if self._writer is not None:
            writer.close()
            return
        self._writer = writer
        self._opened()
        try:
            with contextlib.suppress(ConnectionError):
                while data := await reader.read(4096):
                    self._receive(data)
        except asyncio.CancelledError:
            pass  # the process ends
        finally:
            if self._writer is writer:
                self._writer = None
            writer.close()

    def send(self, data: bytes) -> None:
        """Send bytes to whoever listens; lost where nobody does."""
        if self._writer is not None and not self._writer.is_closing():
            self._writer.write(data)

    def drop(self) -> None:
        """Close the present connection; a new one may be opened."""
        if self._writer is not None:
            self._writer.transport.abort()
            self._writer = None

    async def vanish(self) -> None:
        """Stop listening, and end what is open."""
        await self.close()

    async def appear(self) -> None:
        """Listen again on the same port."""
        await self.open(int(self.address.rpartition(":")[2]))

    async def close(self) -> None:
        """Stop listening."""
        self.drop()
        if self._server is not None:
            self._server.close()
            self._server = None


class PtyEnd:
    """A pseudo-terminal. The far side stays open here, so that a client may come and go."""

    def __init__(self, receive: Receive) -> None:
        self._receive = receive
        self._master, self._slave = -1, -1
        self._owed = b""
        self.address = ""

    async def open(self) -> None:
        """Make the terminal, raw: no echo, no translation.

        Raises:
            OSError: this system has none.
        """
        if sys.platform == "win32":
            raise OSError("there are no pseudo-terminals on Windows")
        import pty
        import tty

        self._master, self._slave = pty.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self.address = os.ttyname(self._slave)
        asyncio.get_running_loop().add_reader(self._master, self._readable)

    def _readable(self) -> None:
        with contextlib.suppress(BlockingIOError):
            self._receive(os.read(self._master, 4096))

    def send(self, data: bytes) -> None:
        """Send bytes; what the terminal cannot take now is owed."""
        self._owed = (self._owed + data)[-BUFFER_BYTES:]
        self._writable()

    def _writable(self) -> None:
        loop = asyncio.get_running_loop()
        with contextlib.suppress(BlockingIOError):
            self._owed = self._owed[os.write(self._master, self._owed) :]
        if self._owed:
            loop.add_writer(self._master, self._writable)
        else:
            loop.remove_writer(self._master)

    def drop(self) -> None:
        """A terminal cannot be pulled out and stay: what was owed is lost."""
        self._owed = b""

    async def vanish(self) -> None:
        """No more than a pulled cable: see `drop`."""
        self.drop()

    async def appear(self) -> None:
        """It never went."""

    async def close(self) -> None:
        """Close both sides."""
        loop = asyncio.get_running_loop()
        loop.remove_reader(self._master)
        loop.remove_writer(self._master)
        os.close(self._master)
        os.close(self._slave)
