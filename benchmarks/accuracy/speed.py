"""How long solving takes: forty readings warm, and whether time grows with the readings.

Wall times of this machine, best of several; nothing here is drawn but the readings.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

import numpy as np
from benchmarks.accuracy.machine import Hidden, Machine, Rows, Shape
from benchmarks.accuracy.spans import solve

from asleft.measure import SpanReading

SIZES = (100, 300, 1000, 3000, 10000)


@dataclass(frozen=True)
class Timed:
    """Readings, places and seconds; `share` of the sets that took no longer than 5 ms."""

    what: str
    readings: int
    median_s: float
    slowest_s: float


def forty(seed: int, sets: int, misreads: float) -> Timed:
    """Forty readings of a piece, warm: the median over sets, each best of three."""
    shape = Shape(n=4, heights=(20.0, 100.0))
    rows = Rows.of(shape)
    spent = []
    for k in range(sets + 1):
        rng = np.random.default_rng([seed, 40, k])
        spent.append(_best(Machine(rng, Hidden(misreads=misreads)).read(rows), 5))
    spent = spent[1:]  # the first one warms up
    what = "with 3 % misreads" if misreads else "without misreads"
    return Timed(what, len(rows.names), float(np.median(spent)), max(spent))


def growing(seed: int) -> list[Timed]:
    """Ever more readings: repeats at the same faces, and every reading at a face of its own."""
    found = []
    rows = Rows.of(Shape(n=1, pairs=1))
    for alone in (False, True):
        what = "each at a place of its own" if alone else "at eleven places"
        for size in SIZES:
            machine = Machine(np.random.default_rng([seed, size]), Hidden(misreads=0.01))
            readings = machine.read(rows.first(size, elsewhere=False))
            if alone:
                readings = [replace(r, place=None) for r in readings]
            seconds = _best(readings, 3)
            found.append(Timed(what, size, seconds, seconds))
    return found


def _best(readings: list[SpanReading], times: int) -> float:
    best = float("inf")
    for _ in range(times):
        start = time.perf_counter()
        solve(readings)
        best = min(best, time.perf_counter() - start)
    return best
