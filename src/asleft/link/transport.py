"""Bytes out, bytes in: the one narrow seam between a conversation and a real port or socket.

Serial ports (`/dev/tty…`, `COM3`) and TCP (`socket://host:port`) by the same few methods. It
knows nothing of lines; every trouble of the system becomes a `LineError` in plain words.
"""

from __future__ import annotations

import asyncio
import errno
from typing import Any, Protocol
from urllib.parse import urlsplit

from asleft.errors import InputError, LineError

DEFAULT_RATE_BAUD = 115200
CONNECT_WITHIN_S = 10.0


class Transport(Protocol):
    """What a conversation needs of a byte stream; a socket has no rate."""

    is_socket: bool
    rate_baud: int | None

    async def open(self) -> None:
        """Open it, exclusively, for the first time or again. Raises LineError."""
        ...

    async def read(self) -> bytes:
        """The bytes that came, at least one; empty when the stream has ended."""
        ...

    def write(self, data: bytes) -> None:
        """Hand bytes to the system at once, without waiting. Raises LineError."""
        ...

    async def close(self) -> None:
        """Close it; safe to call twice."""
        ...

    async def set_rate(self, rate_baud: int) -> None:
        """Another speed without reopening; a stream without speed ignores it."""
        ...

    def describe(self) -> str:
        """Address and rate in words, for messages."""
        ...


class _Inbox(asyncio.Protocol):
    """Collects what arrives and wakes the one reader."""

    def __init__(self) -> None:
        self._chunks = bytearray()
        self._waiter: asyncio.Future[None] | None = None
        self.ended = False

    def data_received(self, data: bytes) -> None:
        self._chunks += data
        self._wake()

    def connection_lost(self, exc: Exception | None) -> None:
        self.ended = True
        self._wake()

    def _wake(self) -> None:
        if self._waiter is not None and not self._waiter.done():
            self._waiter.set_result(None)

    async def take(self) -> bytes:
        while not self._chunks and not self.ended:
            self._waiter = asyncio.get_running_loop().create_future()
            await self._waiter
        data = bytes(self._chunks)
        self._chunks.clear()
        return data


class PortTransport:
    """A serial port or a TCP socket.

    Args:
        address: `/dev/tty…`, `COM3` or `socket://host:port`.
        rate_baud: for serial ports; None takes 115200, a socket has none.

    Raises:
        InputError: the address is none.
    """

    def __init__(self, address: str, rate_baud: int | None = None) -> None:
        self.address = address
        self.is_socket = "://" in address
        self.rate_baud = None if self.is_socket else (rate_baud or DEFAULT_RATE_BAUD)
        self._inbox = _Inbox()
        self._port: Any = None
        if self.is_socket:
            _check_socket_address(address)

    async def open(self) -> None:
        """Open the port, alone, with DTR and RTS held as they come up.

        A falling DTR restarts many boards, so neither line is moved on closing either.
        """
        from serialx import PinState, create_serial_connection

        inbox = _Inbox()
        kind: dict[str, Any] = {"connect_timeout": CONNECT_WITHIN_S} if self.is_socket else {}
        try:
            self._port, _ = await create_serial_connection(
                asyncio.get_running_loop(),
                lambda: inbox,
                self.address,
                self.rate_baud or DEFAULT_RATE_BAUD,
                exclusive=True,
                dtr_on_open=PinState.HIGH,
                rts_on_open=PinState.HIGH,
                dtr_on_close=PinState.UNDEFINED,
                rts_on_close=PinState.UNDEFINED,
                **kind,
            )
        except TimeoutError as error:
            raise LineError(
                f"nothing accepted the connection within {CONNECT_WITHIN_S:g} s",
                hint="Is the machine switched on and in the network?",
                where=self.address,
            ) from error
        except OSError as error:
            raise _plain(error, self.address) from error
        except Exception as error:  # the library's own errors share no root with OSError
            raise LineError(f"the port cannot be opened: {error}", where=self.address) from error
        self._inbox = inbox

    async def read(self) -> bytes:
        """The bytes that came, at least one; empty when the stream has ended."""
        return await self._inbox.take()

    def write(self, data: bytes) -> None:
        """Hand bytes to the system at once; what it cannot take is sent when it can."""
        if self._port is None or self._inbox.ended:
            raise LineError("the connection is gone", hint=_UNPLUGGED, where=self.address)
        try:
            self._port.write(data)
        except Exception as error:
            raise LineError(f"the line broke: {error}", hint=_UNPLUGGED, where=self.address) from (
                error
            )

    async def set_rate(self, rate_baud: int) -> None:
        """Another speed without reopening, since reopening may restart the board."""
        if self.is_socket or self._port is None:
            return
        try:
            await self._port.reconfigure_port(baudrate=rate_baud)
        except Exception as error:
            raise LineError(
                f"the port does not take {rate_baud} baud: {error}", where=self.address
            ) from error
        self.rate_baud = rate_baud

    async def close(self) -> None:
        """Close the port; safe to call twice."""
        port, self._port = self._port, None
        if port is not None:
            port.close()
            await port.wait_closed()

    def describe(self) -> str:
        """Address and rate in words, for messages."""
        return self.address if self.rate_baud is None else f"{self.address} at {self.rate_baud}"


_UNPLUGGED = "Check the cable and the machine's power, then connect again."


def _check_socket_address(address: str) -> None:
    parts = urlsplit(address)
    try:
        port = parts.port
    except ValueError:
        port = None
    if parts.scheme != "socket" or not parts.hostname or not port:
        raise InputError(
            f"{address!r} is no address of a machine",
            hint="Give a serial port such as /dev/ttyUSB0 or COM3, or socket://host:port.",
        )


def _plain(error: OSError, address: str) -> LineError:
    words = {
        errno.ENOENT: (
            "there is no such port",
            "Is it plugged in? `asleft ports` lists those that are.",
        ),
        errno.ENXIO: ("nothing is behind this port", _UNPLUGGED),
        errno.EIO: ("nothing is behind this port", _UNPLUGGED),
        errno.EACCES: (
            "the system does not let you use the port",
            "Become a member of the group that owns it (often dialout), then log in again.",
        ),
        errno.EBUSY: ("another program uses the port", "Close the other program first."),
        errno.ECONNREFUSED: ("nothing listens there", "Is the machine switched on?"),
    }
    what, hint = words.get(error.errno or 0, (f"the port cannot be opened: {error}", _UNPLUGGED))
    return LineError(what, hint=hint, where=address)
