"""An event loop whose time passes only when nothing is left to do.

Bytes go through real sockets of the system; only waiting is left out, so that a minute of time-outs
costs nothing and every run is the same. Stands on asyncio.
"""

from __future__ import annotations

import asyncio
import selectors
import time
from collections.abc import Awaitable, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar
from unittest import mock

Result = TypeVar("Result")
EPOCH_S = 1_800_000_000.0
_real_s = time.perf_counter


class HangError(BaseException):
    """Nothing will ever happen, or far too much; passes every `except Exception`."""


class _Passing(selectors.DefaultSelector):  # type: ignore[misc, valid-type]
    """Looks for bytes; where there are none and something is due later, it is later."""

    loop: OwnTimeLoop

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        events: list[tuple[selectors.SelectorKey, int]] = super().select(0)
        loop = self.loop
        if not events and timeout is None:
            raise HangError("everybody waits for somebody")
        if not events and timeout:
            loop.now_s += timeout
        if loop.now_s > loop.ends_s:
            raise HangError(f"no end after {loop.now_s:.0f} s")
        if _real_s() > loop.real_end_s:
            raise HangError(f"busy without end at {loop.now_s:.0f} s")
        return events


class OwnTimeLoop(asyncio.SelectorEventLoop):
    """A loop with a time of its own, from 0, in seconds.

    Args:
        ends_s: own time at which a run counts as hung.
        real_s: wall seconds after which it does, too.
    """

    def __init__(self, ends_s: float, real_s: float) -> None:
        self.now_s = 0.0
        self.ends_s = ends_s
        self.real_end_s = _real_s() + real_s
        selector = _Passing()
        selector.loop = self
        super().__init__(selector)

    def time(self) -> float:
        """Own seconds."""
        return self.now_s

    def run(self, work: Awaitable[Result]) -> Result:
        """Run until this is done; everything else of the loop goes on meanwhile."""
        return self.run_until_complete(work)

    def pass_s(self, seconds: float) -> None:
        """Let time pass."""
        self.run(asyncio.sleep(seconds))


@contextmanager
def own_time(loop: OwnTimeLoop) -> Iterator[None]:
    """Every clock that the program reads shows the loop's time; what is left open is closed."""
    with (
        mock.patch("time.monotonic", loop.time),
        mock.patch("time.time", lambda: EPOCH_S + loop.now_s),
    ):
        try:
            yield
        finally:
            loop.ends_s = loop.real_end_s = float("inf")
            _end(loop)


def _end(loop: OwnTimeLoop) -> None:
    left: set[asyncio.Task[Any]] = asyncio.all_tasks(loop)
    for task in left:
        task.cancel()
    loop.run(asyncio.gather(*left, return_exceptions=True)) if left else None
    loop.run(asyncio.sleep(0))
    loop.close()
