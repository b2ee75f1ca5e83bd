"""Feeds at rising rates: how often the bracket of slip holds its onset, and how often it errs.

The true share that goes in is 1 until the gear begins to slip and falls ever faster beyond; the
onset is the rate where 1 % is lost. Only a monotone fall is known to the solver.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from benchmarks.accuracy.experiment import Numbers
from benchmarks.accuracy.machine import Array

from asleft.measure import slip_bracket

RATES_MM_MIN = (60.0, 120.0, 180.0, 240.0, 300.0, 360.0, 420.0, 480.0)
LOST = 0.01


@dataclass(frozen=True)
class Slip:
    """Feeds `feeds` times a rate; `slips` False is a machine that never slips.

    `times` is how many machines are taken for one of the other rows.
    """

    name: str
    feeds: int
    slips: bool
    scatter: float = 0.003
    times: float = 1.0

    def one(self, rng: np.random.Generator) -> Numbers:
        """Whether an onset was seen, and whether each end stands on the right side of it."""
        rates = np.repeat(RATES_MM_MIN, self.feeds)
        level = 1 + float(rng.normal(0, 0.03))
        onset, share = math.inf, np.ones_like(rates)
        if self.slips:
            onset = float(rng.uniform(RATES_MM_MIN[2], RATES_MM_MIN[-1]))
            share = _share(rates, onset, float(rng.uniform(1.0, 3.0)), float(rng.uniform(50, 300)))
        found = slip_bracket(rates, level * share + rng.normal(0, self.scatter, rates.size))
        low, high = found.low or 0.0, found.high or math.inf
        numbers = {
            "seen": float(found.high is not None),
            "bracketed": float(found.low is not None and found.high is not None),
            "holds": float(low <= onset <= high),
        }
        if found.low is not None and found.high is not None:
            numbers["holds both"] = float(low <= onset <= high)
            numbers["width"] = high - low
            numbers["off"] = (found.between or math.nan) - onset
        return numbers


def _share(rates: Array, onset: float, power: float, scale: float) -> Array:
    """What goes in: 1 at first, less `LOST` at the onset, falling with a power beyond."""
    start = onset - scale * LOST ** (1 / power)
    beyond = np.maximum(rates - start, 0.0) / scale
    share: Array = np.maximum(1 - beyond**power, 0.05)
    return share


def cases() -> tuple[Slip, ...]:
    """Without slip, with more machines since a false onset must be rare; and with it."""
    return tuple(
        Slip(f"{feeds} feeds a rate{words}, {'slips' if slips else 'never slips'}", feeds, slips,
             scatter, times=1.5 if slips else 6.0)
        for slips in (False, True)
        for feeds, scatter, words in (
            (2, 0.003, ""), (3, 0.003, ""), (4, 0.003, ""), (3, 0.01, " scattering by 1 %"),
        )
    )  # fmt: skip
