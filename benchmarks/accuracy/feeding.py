"""Feeds solved: coverage of the fed ratio, and what its verdicts do.

The caliper's scale (and, for cut pieces, its zero) is drawn as its data sheet promises; the hand
scatters. Twenty left of 120 after 100 is right: common practice, no source.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
from benchmarks.accuracy.experiment import Numbers

from asleft.measure import FeedReading, Instrument, Tolerance, solve_feed

_MORE = re.compile(r"about (\d+) more readings")


@dataclass(frozen=True)
class FeedCase:
    """`off` bounds the true error of the extruder, drawn uniform with either sign."""

    name: str
    repeats: int = 4
    scatter_mm: float = 0.2
    cut: bool = False
    off: tuple[float, float] = (0.0, 0.07)

    def one(self, rng: np.random.Generator) -> Numbers:
        """Error, hit, and whether the verdict was right."""
        caliper = Instrument()
        ratio = 1 + float(rng.uniform(*self.off) * rng.choice([-1.0, 1.0]))
        scale, zero = rng.normal(0, caliper.scale_sd), rng.normal(0, caliper.mpe_mm / 3**0.5)

        def take(n: int) -> list[FeedReading]:
            return [self._read(rng, 100 * ratio, 1 + scale, zero, caliper) for _ in range(n)]

        readings = take(self.repeats)
        found = solve_feed(readings, instrument=caliper, in_force=93.0)
        q, p = found.quantities[0], found.proposals[0]
        assert q.value is not None and q.low95 is not None and q.high95 is not None
        numbers = {"error": q.value - ratio, "u": q.u or np.nan}
        numbers["hit"] = float(q.low95 <= ratio <= q.high95)
        numbers["told"] = float(p.verdict == "adjust")
        numbers["left"] = float(p.verdict == "leave")
        after = ratio / q.value - 1
        numbers["mended"] = float(p.verdict == "adjust" and abs(after) <= Tolerance().feed)
        more = _MORE.search(p.reason)
        if more:
            both = [*readings, *take(int(more[1]))]
            again = solve_feed(both, instrument=caliper, in_force=93.0).proposals[0]
            numbers["decided"] = float(again.verdict != "measure_more")
        return numbers

    def _read(
        self, rng: np.random.Generator, fed: float, scale: float, zero: float, caliper: Instrument
    ) -> FeedReading:
        def shown(true: float) -> float:
            step = caliper.resolution_mm
            return float(np.round((true * scale + zero) / step) * step)

        if self.cut:
            return FeedReading(100.0, shown(fed + rng.normal(0, self.scatter_mm)))
        # Mark and remainder are read with the same jaws, so their zero cancels.
        marked = 120.0
        left = shown((marked - zero) / scale - fed + rng.normal(0, self.scatter_mm))
        return FeedReading(100.0, marked - left, marked, left)


def cases() -> tuple[FeedCase, ...]:
    """All feed cases of the page."""
    return (
        FeedCase("4 feeds, 0.2 mm of scatter"),
        FeedCase("3 feeds, 0.3 mm of scatter", 3, 0.3),
        FeedCase("8 feeds, 0.1 mm of scatter", 8, 0.1),
        FeedCase("4 feeds, 0.02 mm of scatter", 4, 0.02),
        FeedCase("4 cut pieces, 0.05 mm of scatter", 4, 0.05, cut=True),
    )


def deciding() -> tuple[FeedCase, ...]:
    """Sound and bad extruders, and some that three feeds do not decide."""
    return (
        FeedCase("feed within T/2", off=(0.0, 0.005)),
        FeedCase("feed off by 2T or more", off=(0.02, 0.10)),
        FeedCase("feed undecided", 3, 0.4, off=(0.0, 0.02)),
    )
