"""Which of several departures from a model the values show: one test over all, then the likeliest.

Whitened generalised least squares. Each candidate is one more column (a step between two
calibrations, a slope); the test allows for their number (Bonferroni, weighted). Knows no machine.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from asleft.measure.chance import probability_below
from asleft.measure.linear import Array, Mask

STATED_DOF = 8.0  # how firmly the stated uncertainties are believed, as so many values; ours
FALSE_ALARM = 0.01  # over all candidates of one series
_NOTHING_LEFT = 1e-6  # of a column's length, once the model has taken its part


@dataclass(frozen=True)
class Candidates:
    """Columns (n, m) that may be added, their shares of the false alarms (m,), which are slopes.

    Shares sum to 1.
    """

    columns: Array
    share: Array
    slope: Mask


@dataclass(frozen=True)
class Best:
    """What the values say of the candidates.

    `p` is the probability of so large a departure of any candidate by chance, `slope_odds` the
    probability that it is a slope rather than a step, given that it is one of them; `step` the
    likeliest step's column and `step_share` (m,) each one's probability among the steps.
    """

    p: float
    slope_odds: float
    step: int | None
    step_share: Array


def best_of(departure: Array, base: Array, candidates: Candidates) -> Best:
    """Compare candidates on what a base model leaves.

    Args:
        departure: (n,) whitened values. base: (n, q) whitened columns of the model so far.
        candidates: whitened columns.
    """
    q, _ = np.linalg.qr(base)
    rest = departure - q @ (q.T @ departure)
    cleared = candidates.columns - q @ (q.T @ candidates.columns)
    return compare(rest, cleared, candidates, taken=base.shape[1])


def compare(rest: Array, cleared: Array, candidates: Candidates, taken: int) -> Best:
    """The same with values and columns already cleared of a base with `taken` parameters."""
    norm = np.linalg.norm(cleared, axis=0)
    before = np.linalg.norm(candidates.columns, axis=0)
    usable = norm > _NOTHING_LEFT * np.maximum(before, 1e-300)
    along = np.where(usable, rest @ cleared / np.where(usable, norm, 1.0), 0.0)
    squares = float(rest @ rest)
    left = np.maximum(squares - along**2, 0.0)
    dof = STATED_DOF + rest.size - taken - 1
    t = np.abs(along) / np.sqrt((STATED_DOF + left) / dof)
    raised = [  # of those with the same share, only the strongest can count
        min(2 * probability_below(-float(t[mask].max()), dof) / float(share), 1.0)
        for share in np.unique(candidates.share)
        if share > 0 and (mask := usable & (candidates.share == share)).any()
    ]
    log_weight = -dof / 2 * np.log(STATED_DOF + left)
    weight = np.where(usable, candidates.share * np.exp(log_weight - log_weight.max()), 0.0)
    return _best(min(raised, default=1.0), weight, candidates.slope)


def _best(p: float, weight: Array, slope: Mask) -> Best:
    """Weigh all slopes against all steps, as likely as each other beforehand."""
    steps = np.where(slope, 0.0, weight)
    total = float(steps.sum())
    of_slope = float(weight[slope].sum())
    odds = of_slope / (of_slope + total) if of_slope + total > 0 else 0.5
    if total <= 0:
        return Best(p, odds, None, steps)
    return Best(p, odds, int(np.argmax(steps)), steps / total)


def scatter_of(rest: Array, taken: int) -> tuple[float, float]:
    """Scatter over the stated one, weakly held to 1, and its degrees of freedom."""
    dof = STATED_DOF + rest.size - taken
    return math.sqrt((STATED_DOF + float(rest @ rest)) / dof), dof
