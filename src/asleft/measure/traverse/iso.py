"""Positioning figures of one axis in the terms of ISO 230-2: B, R, A, E, M and their kin.

Arithmetic on deviations by target and approach; 2 s bands as in the editions since 1997. The
standard gives values without a distribution: the intervals here hold at all targets at once.
Stands on `chance`; decides nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from asleft.measure.chance import coverage_factor, effective_dof, t_quantile
from asleft.measure.linear import Array

COVER = 0.95


@dataclass(frozen=True)
class Approached:
    """Deviations (actual less target) from one direction, mm, by target: means, sds, counts.

    `sd_mm` is NaN where a target was approached once.
    """

    mean_mm: Array
    sd_mm: Array
    count: Array

    @classmethod
    def of(cls, groups: list[Array]) -> Approached:
        """From the deviations of each target."""
        sds = [float(np.std(g, ddof=1)) if g.size > 1 else math.nan for g in groups]
        means = [float(np.mean(g)) for g in groups]
        return cls(np.array(means), np.array(sds), np.array([float(g.size) for g in groups]))

    def mean_u_mm(self, floor_mm: float) -> Array:
        """Standard uncertainty of each mean, never better than the last digit."""
        return np.asarray(np.maximum(self.sd_mm / np.sqrt(self.count), floor_mm))


@dataclass(frozen=True)
class Figure:
    """One figure with its interval, mm; None where the scatter is unknown."""

    value_mm: float
    low_mm: float | None = None
    high_mm: float | None = None


@dataclass(frozen=True)
class _Side:
    """One direction at one end of its bounds: means where they enter maxima and minima, sds."""

    top: Array
    foot: Array
    sd: Array


def figures(up: Approached, down: Approached, floor_mm: float) -> dict[str, Figure]:
    """All figures of an axis approached from both directions, but for the mean reversal.

    Args:
        up, down: approach in + and in − direction, the same m targets.
        floor_mm: standard uncertainty of a mean by the instrument's last digit.

    Returns:
        By name: `reversal` (B), `systematic` (E), `mean_deviation` (M), `repeatability` (R),
        `accuracy` (A); E, R, A also `_up` and `_down`. R, A and intervals need two approaches or
        more at every target from either side.
    """
    reversal = np.abs(up.mean_mm - down.mean_mm)
    here = [_Side(a.mean_mm, a.mean_mm, a.sd_mm) for a in (up, down)]
    value = _values(here[0], here[1], reversal)
    if np.isnan(up.sd_mm).any() or np.isnan(down.sd_mm).any():
        return {n: Figure(v) for n, v in value.items() if not n.startswith(("rep", "acc"))}
    half, sds = _at_once(up, down, floor_mm)
    most = [_Side(s.top + h, s.foot - h, sd[1]) for s, h, sd in zip(here, half, sds, strict=True)]
    least = [_Side(s.top - h, s.foot + h, sd[0]) for s, h, sd in zip(here, half, sds, strict=True)]
    high = _values(most[0], most[1], reversal + half[0] + half[1])
    low = _values(least[0], least[1], np.maximum(reversal - half[0] - half[1], 0.0))
    return {n: Figure(v, max(low[n], 0.0), high[n]) for n, v in value.items()}


def _values(up: _Side, down: _Side, reversal: Array) -> dict[str, float]:
    """ISO 230-2, clause 3: every figure from means, standard deviations and |B_i|."""
    repeat = np.maximum(2 * up.sd + 2 * down.sd + reversal, np.maximum(4 * up.sd, 4 * down.sd))
    return {
        "reversal": float(np.max(reversal)),
        "repeatability": float(np.max(repeat)),
        "repeatability_up": float(np.max(4 * up.sd)),
        "repeatability_down": float(np.max(4 * down.sd)),
        "accuracy": max(_top(up), _top(down)) - min(_foot(up), _foot(down)),
        "accuracy_up": _top(up) - _foot(up),
        "accuracy_down": _top(down) - _foot(down),
        "systematic": float(
            max(up.top.max(), down.top.max()) - min(up.foot.min(), down.foot.min())
        ),
        "systematic_up": float(up.top.max() - up.foot.min()),
        "systematic_down": float(down.top.max() - down.foot.min()),
        "mean_deviation": float((up.top + down.top).max() - (up.foot + down.foot).min()) / 2,
    }


def _top(side: _Side) -> float:
    return float(np.max(side.top + 2 * side.sd))


def _foot(side: _Side) -> float:
    return float(np.min(side.foot - 2 * side.sd))


def _at_once(
    up: Approached, down: Approached, floor_mm: float
) -> tuple[list[Array], list[tuple[Array, Array]]]:
    """Half-widths of the means and bounds of the sds, all true together (Bonferroni)."""
    from scipy.special import chdtri

    share = (1 - COVER) / (4 * up.mean_mm.size)  # for each mean and each sd, two-sided
    half, sds = [], []
    for a in (up, down):
        dof = a.count - 1
        t = np.array([t_quantile(1 - share / 2, float(d)) for d in dof])
        half.append(t * a.mean_u_mm(floor_mm))
        widest = np.maximum(a.sd_mm, floor_mm) * np.sqrt(dof / chdtri(dof, 1 - share / 2))
        sds.append((a.sd_mm * np.sqrt(dof / chdtri(dof, share / 2)), widest))
    return half, sds


def mean_reversal(
    up: Approached, down: Approached, floor_mm: float
) -> tuple[float, float | None, float]:
    """Mean of B_i, signed: value and standard uncertainty in mm, degrees of freedom.

    Where targets were approached once, the spread of B_i from target to target stands for the
    scatter; u is None with fewer than three of them.
    """
    reversal = up.mean_mm - down.mean_mm
    m, value = reversal.size, float(np.mean(reversal))
    if np.isnan(up.sd_mm).any() or np.isnan(down.sd_mm).any():
        if m < 3:
            return value, None, math.inf
        return value, max(float(np.std(reversal, ddof=1)) / math.sqrt(m), floor_mm), m - 1.0
    parts = []
    for a in (up, down):
        u = a.mean_u_mm(floor_mm) / m
        parts += list(zip(u.tolist(), (a.count - 1).tolist(), strict=True))
    return value, math.sqrt(sum(u * u for u, _ in parts)), effective_dof(tuple(parts))


def interval(value: float, u: float, dof: float) -> tuple[float, float]:
    """The 95 % interval of a value."""
    half = coverage_factor(dof) * u
    return value - half, value + half
