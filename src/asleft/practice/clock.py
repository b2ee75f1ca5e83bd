"""The practice machine's own clock, which runs faster than the wall by a factor.

Everything physical (heating, moves, prints) asks this clock and sleeps by it, so a heat-up of
90 s takes a fraction of a second. Not for time-outs on the line, which are the client's.
Stands on the wall clock passed in.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable


class Clock:
    """Own time in seconds since the process began.

    Args:
        factor: own seconds per wall second, above 0.
        wall: the wall clock, seconds, monotonic.
    """

    def __init__(self, factor: float, wall: Callable[[], float] = time.monotonic) -> None:
        if not 0 < factor < float("inf"):
            raise ValueError(f"a clock cannot run {factor:g} times the wall")
        self.factor = factor
        self._wall = wall
        self._began = wall()
        self.skipped_s = 0.0  # own seconds that took no time on the wall

    def now_s(self) -> float:
        """Own seconds since the beginning."""
        return (self._wall() - self._began) * self.factor + self.skipped_s

    def skip(self, seconds: float) -> None:
        """Let own time pass at once: what a print takes is not waited for."""
        self.skipped_s += max(0.0, seconds)

    def paced_s(self, seconds: float) -> float:
        """Own seconds between two repeated things, such as reports: at least 20 ms of wall.

        Without this floor a fast clock would flood the line, which no real board does.
        """
        return max(seconds, 0.02 * self.factor)

    async def sleep(self, seconds: float, wake: asyncio.Event | None = None) -> None:
        """Wait own seconds, or less where `wake` is set meanwhile."""
        wall_s = max(0.0, seconds) / self.factor
        if wake is None:
            await asyncio.sleep(wall_s)
            return
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(wake.wait(), max(wall_s, 1e-4))
