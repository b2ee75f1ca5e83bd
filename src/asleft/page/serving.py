"""Serves the page: the address on standard output, the stop on every way out.

uvicorn in the main thread; a signal reaches the machines first and the server then. Not for any
route. Stands on `app`.
"""

from __future__ import annotations

import asyncio
import socket
import sys
from collections.abc import Callable
from types import FrameType
from typing import TYPE_CHECKING

import uvicorn

from asleft.errors import RefusedError
from asleft.page import sheets
from asleft.page.app import application
from asleft.page.house import House

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Scope

TURN_S = 0.0005  # Python's own are ten times as long: 5 ms for each time the line's thread wakes
LEAVE_WITHIN_S = 2  # open event streams never end by themselves
DEFAULT_PORT = 8723


class Server(uvicorn.Server):
    """A server that stops the machines the moment it is told to end."""

    def __init__(self, config: uvicorn.Config, stop: Callable[[], None]) -> None:
        super().__init__(config)
        self._stop = stop

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """Machines first, then the server; the signal goes on to the program behind it."""
        self._stop()
        super().handle_exit(sig, frame)


def short_turns() -> None:
    """Let the threads of this process take turns quickly: a busy one holds no line's client up."""
    sys.setswitchinterval(TURN_S)


def listener(port: int | None, *, lan: bool) -> socket.socket:
    """The socket to serve on: loopback, or every interface with `lan`.

    A free port is taken where the usual one is in use and none was asked for.

    Raises:
        RefusedError: the port asked for is in use.
    """
    host = "0.0.0.0" if lan else "127.0.0.1"  # noqa: S104 - only with --lan, behind its key
    for wanted in (port,) if port is not None else (DEFAULT_PORT, 0):
        sock = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if sys.platform != "win32":  # there it would let two programs share the port
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            sock.bind((host, wanted))
        except OSError:
            sock.close()
            continue
        sock.listen()  # a browser that is quicker than the server waits, and is not refused
        return sock
    raise RefusedError(
        f"port {port} is in use or not allowed",
        hint="Leave --page-port out, or give another one.",
        where="--page-port",
    )


def lan_address() -> str:
    """This computer's address in the household's network; the loopback where there is none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # a documentation address (RFC 5737): nothing is sent
        except OSError:
            return "127.0.0.1"
        return str(probe.getsockname()[0])


def hosts_of(port: int, *, lan: bool) -> frozenset[str]:
    """What the browser may call this page."""
    names = {"127.0.0.1", "localhost"}
    if lan:
        name = socket.gethostname().lower()
        names |= {lan_address(), name, f"{name}.local"}
    return frozenset(f"{name}:{port}" for name in names)


def ready(house: House, sock: socket.socket) -> Server:
    """Do before the first visitor what the first visitor would wait for.

    The store is opened, and found sound; libraries that a finding needs are loaded; the first
    sheet is made once as it would be for a browser.
    """
    short_turns()
    import scipy.special  # noqa: F401 - loading it is the purpose

    import asleft.bench.pictures  # noqa: F401

    sheets.workshop(house, None, {})  # raises what is wrong with the store
    port = sock.getsockname()[1]
    app = application(house, hosts_of(port, lan=house.lan))
    asyncio.run(_looked_at(app, f"127.0.0.1:{port}"))
    config = uvicorn.Config(
        app,
        log_config=None,
        access_log=False,
        server_header=False,
        proxy_headers=False,
        ws="none",
        http="h11",
        timeout_graceful_shutdown=LEAVE_WITHIN_S,
        limit_concurrency=200,
    )
    config.load()
    return Server(config, house.leave)


async def _looked_at(app: ASGIApp, host: str) -> None:
    """Ask for the first sheet without any socket; what it says is let go."""
    asked: Scope = {
        "type": "http",
        "asgi": {"version": "3.0"},
        "http_version": "1.1",
        "method": "GET",
        "scheme": "http",
        "path": "/",
        "raw_path": b"/",
        "root_path": "",
        "query_string": b"",
        "headers": [(b"host", host.encode())],
    }

    async def receive() -> Message:
        return {"type": "http.disconnect"}

    async def send(_message: Message) -> None:
        pass

    await app(asked, receive, send)


def serve(server: Server, house: House, sock: socket.socket) -> None:
    """Serve until a signal ends it; then heaters off and every line released.

    Raises:
        KeyboardInterrupt: a signal ended it.
    """
    try:
        server.run(sockets=[sock])
    finally:
        house.close()
