"""Tells open pages that something changed: versions, and a stream of server-sent events.

Changes come from the threads of the benches, readers live in the server's loop. Knows no sheet.
"""

from __future__ import annotations

import asyncio
import json
import secrets
from collections.abc import AsyncIterator, Callable
from typing import Any

BEAT_S = 1.0  # a page that hears nothing for two of these and a half says so
STREAMS = 24  # phones, tabs and laptops of a household; what comes beyond is refused
PULSE_S = 0.2  # progress is drawn no more often


class Live:
    """The version of everything that is shown, and who waits for the next one."""

    def __init__(self) -> None:
        self._boot = secrets.token_hex(4)
        self._count = 0
        self._loop: asyncio.AbstractEventLoop | None = None
        self._woken = asyncio.Event()
        self.streams = 0

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

    async def events(self, state: Callable[[], dict[str, Any]]) -> AsyncIterator[bytes]:
        """The stream of one page: its state after every change, and a beat in between."""
        self.streams += 1
        try:
            sent = ""
            yield b"retry: 500\n\n"
            while True:
                now = json.dumps({"version": self.version, **state()})
                yield f"data: {now}\n\n".encode() if now != sent else b"event: beat\ndata: -\n\n"
                sent = now
                if await self.wait(BEAT_S):
                    await asyncio.sleep(0 if self.version not in sent else PULSE_S)
        finally:
            self.streams -= 1
