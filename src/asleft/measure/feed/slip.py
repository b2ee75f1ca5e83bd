"""Where the feed begins to slip as the rate rises: a bracket, from a monotone fall alone.

Not a model of the melt: nothing is assumed but that a faster feed never brings more. Level from
the two lowest rates; a rate counts as below or above only where the feeds demonstrate it.
Stands on `chance` and arrays.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asleft.measure.chance import t_quantile
from asleft.measure.linear import Array
from asleft.measure.readings import FeedReading
from asleft.measure.result import Quantity

LOSS = 0.01  # the feed slips where less than 0.99 of the level goes in
FALSE_ONSET = 7e-4  # chance to see slip where there is none, all rates of a trial together
WRONG_LOW = 5e-3  # chance to place the lower end too high
SMALLEST_LOSS = 1e-4  # below this a loss is noise, and its logarithm means nothing


@dataclass(frozen=True)
class SlipBracket:
    """The rate where 1 % is lost lies above `low` and not above `high`, mm/min.

    `low` None: not even the slowest rates are proved whole. `high` None: no slip was seen.
    `between` is the best guess within, None where an end is missing. `reason` says what lacks.
    """

    low: float | None
    high: float | None
    between: float | None
    reason: str | None


def slip_bracket(rates: Array, ratios: Array, rounding: float = 0.0) -> SlipBracket:
    """Bracket the rate above which the feed slips.

    Args:
        rates: (n,) mm/min. ratios: (n,) fed over commanded.
        rounding: relative standard uncertainty of one ratio by the last digit.

    Raises:
        ValueError: fewer than three rates.
    """
    levels, which, count = np.unique(rates, return_inverse=True, return_counts=True)
    if levels.size < 3:
        raise ValueError("slip needs three rates or more")
    dof = int(rates.size - levels.size)
    if dof < 1:
        return SlipBracket(None, None, None, "one feed a rate tells nothing of its scatter")
    means = np.bincount(which, weights=ratios) / count
    pooled = float(np.sum((ratios - means[which]) ** 2)) / dof
    sd = max(math.sqrt(pooled), rounding)
    weight = np.where(np.arange(levels.size) < 2, count, 0.0) / count[:2].sum()
    if not weight @ means > 0:
        return SlipBracket(None, None, None, "nothing went in even at the slowest rates")
    # Mean at each rate less 0.99 of the level; the two lowest rates share scatter with the level.
    contrast = np.eye(levels.size) - (1 - LOSS) * weight
    over = contrast @ means
    u = sd * np.sqrt((contrast**2 / count).sum(axis=1))
    # Only the first rate beyond the onset can raise the lower end wrongly: all before must stand.
    surely = t_quantile(1 - WRONG_LOW, dof) * u
    barely = t_quantile(1 - FALSE_ONSET / levels.size, dof) * u
    above = np.logical_and.accumulate(over > surely)
    below = np.flatnonzero(over < -barely)
    low = float(levels[above][-1]) if above.any() else None
    high = float(levels[below[0]]) if below.size else None
    return _placed(low, high, levels, means / (weight @ means), count.astype(float))


def _placed(
    low: float | None, high: float | None, rates: Array, shares: Array, count: Array
) -> SlipBracket:
    if low is None and high is None:
        return SlipBracket(None, None, None, "the feeds scatter too much: take more at each rate")
    if high is None:
        return SlipBracket(low, None, None, f"no slip was seen up to {low:g} mm/min; feed faster")
    if low is None:
        why = f"slip begins below {high:g} mm/min; the slower feeds scatter too much to say where"
        return SlipBracket(None, high, None, why)
    return SlipBracket(low, high, _between(low, high, rates, shares, count), None)


def _between(low: float, high: float, rates: Array, shares: Array, count: Array) -> float:
    """Where the monotone fit loses 1 %, by straight lines in the logarithm of the loss."""
    loss = np.log(np.maximum(1 - falling(shares, count), SMALLEST_LOSS))
    inside = (rates >= low) & (rates <= high)
    x, y = rates[inside], loss[inside]
    wanted = math.log(LOSS)
    after = int(np.argmax(y >= wanted)) if np.any(y >= wanted) else x.size - 1
    if after == 0:
        return float(x[0])
    rise = y[after] - y[after - 1]
    share = (wanted - y[after - 1]) / rise if rise > 0 else 0.5
    return float(x[after - 1] + min(max(share, 0.0), 1.0) * (x[after] - x[after - 1]))


def falling(values: Array, weights: Array) -> Array:
    """The nearest sequence (weighted least squares) that never rises: pool adjacent violators."""
    blocks: list[tuple[float, float, int]] = []
    for value, weight in zip(values.tolist(), weights.tolist(), strict=True):
        mean, total, n = value, float(weight), 1
        while blocks and blocks[-1][0] < mean:
            before, of, m = blocks.pop()
            mean = (before * of + mean * total) / (of + total)
            total, n = of + total, n + m
        blocks.append((mean, total, n))
    return np.concatenate([np.full(n, mean) for mean, _, n in blocks])


def slip_quantity(
    readings: Sequence[FeedReading], rounding: float, axis: str
) -> tuple[Quantity, list[str]] | None:
    """The quantity `slip_rate` in mm/min and advice, or None where rates were not varied."""
    rated = [r for r in readings if r.rate_mm_min is not None]
    rates = np.array([r.rate_mm_min for r in rated], dtype=float)
    if np.unique(rates).size < 3:
        return None
    found = slip_bracket(rates, np.array([r.fed_mm / r.commanded_mm for r in rated]), rounding)
    u = None
    reason = found.reason
    if found.low is not None and found.high is not None:
        u = (found.high - found.low) / math.sqrt(12)  # rectangular: JCGM 100, 4.3.7
        reason = "a bracket: nothing is assumed but that a faster feed never brings more"
    quantity = Quantity(
        "slip_rate", found.between, u, found.low, found.high, "mm/min", axis, None, reason
    )
    return quantity, _advice(found, rates)


def _advice(found: SlipBracket, rates: Array) -> list[str]:
    """Where more rates would narrow the bracket."""
    if found.high is None:
        return [f"slip: {found.reason}"] if found.reason else []
    low = found.low if found.low is not None else float(rates.min())
    middle = math.sqrt(low * found.high)
    return [
        f"slip begins between {low:g} and {found.high:g} mm/min; feeds at about {middle:.0f} "
        "mm/min would narrow it"
    ]
