"""Tells open pages that something changed: versions, and a stream of server-sent events.

Changes come from the threads of the benches, readers live in the server's loop. Knows no sheet.
"""

from __future__ import annotations

import asyncio
import json
import secrets
from collections.abc import AsyncIterator, Callable
from typing import TYPE_CHECKING, Any

from starlette.responses import PlainTextResponse, Response, StreamingResponse

if TYPE_CHECKING:
    from starlette.types import Receive, Scope, Send

BEAT_S = 0.8  # a page that hears nothing for 2.2 s says so: within 3 s, however slow it is
STREAMS = 24  # phones, tabs and laptops of a household; what comes beyond is refused
PULSE_S = 0.2  # progress is drawn no more often


class Live:
    """The version of everything that is shown, and who waits for the next one."""

    def __init__(self) -> None:
        self._boot = secrets.token_hex(4)
        self._count = 0
        self._loop: asyncio.AbstractEventLoop | None = None
        self._woken = asyncio.Event()
        self._streams = 0
        self._ending = False

    @property
    def version(self) -> str:
        """Different after every change and every start of the server."""
        return f"{self._boot}.{self._count}"

    def attach(self) -> None:
        """Called in the server's loop before anything is served."""
        self._loop = asyncio.get_running_loop()

    def changed(self, only_progress: bool = False) -> None:
        """Something changed; callable from any thread."""
        if not only_progress:
            self._count += 1
        if self._loop is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._wake)

    def _wake(self) -> None:
        woken, self._woken = self._woken, asyncio.Event()
        woken.set()

    def end(self) -> None:
        """Let every open page go: its stream ends; callable from a signal handler."""
        self._ending = True
        self.changed(only_progress=True)

    async def wait(self, timeout_s: float) -> bool:
        """Wait for the next change; False where none came in time."""
        try:
            await asyncio.wait_for(self._woken.wait(), timeout_s)
        except TimeoutError:
            return False
        return True

    async def until(self, there: Callable[[], bool], timeout_s: float) -> None:
        """Wait until something is so, or the time is over."""
        loop = asyncio.get_running_loop()
        end = loop.time() + timeout_s
        while not there() and loop.time() < end:
            await self.wait(min(0.1, end - loop.time()))

    def stream(self, state: Callable[[], dict[str, Any]]) -> Response:
        """The stream of one page, or the refusal of one too many."""
        if self._streams >= STREAMS:
            return PlainTextResponse("Too many pages are open.", 503)
        self._streams += 1  # now, not when it begins to flow: many may ask in the same moment
        return _Counted(self._events(state), self._ended)

    def _ended(self) -> None:
        self._streams -= 1

    async def _events(self, state: Callable[[], dict[str, Any]]) -> AsyncIterator[bytes]:
        """The state after every change, and a beat in between."""
        sent = ""
        yield b"retry: 500\n\n"
        while not self._ending:
            now = json.dumps({"version": self.version, **state()})
            yield f"data: {now}\n\n".encode() if now != sent else b"event: beat\ndata: -\n\n"
            sent = now
            if await self.wait(BEAT_S):
                await asyncio.sleep(0 if self.version not in sent else PULSE_S)


class _Counted(StreamingResponse):
    """A stream that says when it has ended, however it ended."""

    def __init__(self, events: AsyncIterator[bytes], ended: Callable[[], None]) -> None:
        headers = {"cache-control": "no-store"}
        super().__init__(events, media_type="text/event-stream", headers=headers)
        self._ended = ended

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Stream until either side ends it."""
        try:
            await super().__call__(scope, receive, send)
        finally:
            self._ended()
