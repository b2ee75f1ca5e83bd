"""Student's t and normal probabilities, for intervals and verdicts.

Not a statistics library: the few functions that the room needs, so that scipy is imported
only here and only when first asked. Infinite degrees of freedom mean the normal distribution.
"""

from __future__ import annotations

import math
from functools import lru_cache

MANY_DOF = 1e6  # beyond this Student's t and the normal agree to all digits we print


@lru_cache(maxsize=4096)
def t_quantile(p: float, dof: float) -> float:
    """Student's t quantile for probability `p` and `dof` degrees of freedom (> 0)."""
    from scipy.special import ndtri, stdtrit

    return float(ndtri(p) if dof > MANY_DOF else stdtrit(dof, p))


def coverage_factor(dof: float) -> float:
    """The factor of a two-sided 95 % interval (JCGM 100, Table G.2)."""
    return t_quantile(0.975, dof)


def probability_below(x: float, dof: float) -> float:
    """Student's t cumulative probability at `x`."""
    if dof > MANY_DOF:
        return 0.5 * math.erfc(-x / math.sqrt(2))
    from scipy.special import stdtr

    return float(stdtr(dof, x))


def probability_within(error: float, u: float, dof: float, limit: float) -> float:
    """Probability that the true error lies within ± `limit` (JCGM 106, 7.4), two-sided.

    Args:
        error: the estimate; u: its standard uncertainty (> 0), same unit as `limit`.
        dof: effective degrees of freedom of `u`.
    """
    above = probability_below((limit - error) / u, dof)
    return above - probability_below((-limit - error) / u, dof)


def effective_dof(parts: tuple[tuple[float, float], ...]) -> float:
    """Welch-Satterthwaite (JCGM 100, G.4.1) from (contribution, degrees of freedom) pairs."""
    total = sum(u * u for u, _ in parts)
    below = sum(u**4 / dof for u, dof in parts if dof < MANY_DOF)
    return total**2 / below if below > 0 else math.inf


def dof_beside(u: float, dof: float, others: tuple[float, ...]) -> float:
    """Degrees of freedom of `u` with so many, beside doubts that are sure of their size.

    As Welch-Satterthwaite, but never so many that a further doubt makes the interval narrower
    than `u` alone would: that formula does so where `dof` is one or two.
    """
    total = math.hypot(u, *others)
    many = effective_dof(((u, dof), *((other, math.inf) for other in others)))
    factor = coverage_factor(dof) * u / total
    if many == dof or coverage_factor(many) >= factor:
        return many
    low, high = dof, min(many, MANY_DOF)
    while high - low > 1e-9 * high:
        middle = math.sqrt(low * high)
        low, high = (middle, high) if coverage_factor(middle) > factor else (low, middle)
    return low


def chi_square_quantile(p: float, dof: float) -> float:
    """χ² quantile for probability `p` and `dof` degrees of freedom (> 0)."""
    from scipy.special import chdtri

    return float(chdtri(dof, 1 - p))


def f_upper_tail(f: float, dof: float, dof_below: float) -> float:
    """Probability that an F-distributed value exceeds `f`; χ²/dof when `dof_below` is infinite."""
    from scipy.special import chdtrc, fdtrc

    if dof_below > MANY_DOF:
        return float(chdtrc(dof, f * dof))
    return float(fdtrc(dof, dof_below, f))
