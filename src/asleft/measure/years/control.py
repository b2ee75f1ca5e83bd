"""Control charts of a quantity over its calibrations: individuals with limits, and EWMA.

In the terms of the NIST/SEMATECH e-Handbook, 6.3.2.2 and 6.3.2.4. Describes; whether something
moved, and how, `drift` judges. Numpy alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asleft.measure.linear import Array

D2 = 1.128  # mean range of two normal values over their sd (e-Handbook 6.3.2.2)
SIGMAS = 3.0
LAMBDA = 0.2  # of the EWMA; the e-Handbook advises 0.2 to 0.3
SAME = 1e-12  # values that differ by arithmetic alone lie on their limits, not outside
TOO_FEW = "one value shows no scatter: limits need two or more"


@dataclass(frozen=True)
class ControlChart:
    """Values, their limits point by point, and which lie outside, oldest first.

    `low` and `high` are None where no scatter is known, and `reason` says so. `scatter` is the
    standard deviation that the moving ranges show over the stated one: 1 where values scatter
    as they were said to. Values, centre and limits have the unit of what is charted.
    """

    values: tuple[float, ...]
    centre: float
    low: tuple[float, ...] | None
    high: tuple[float, ...] | None
    scatter: float | None
    reason: str | None = None

    @property
    def outside(self) -> tuple[bool, ...]:
        """Which values lie beyond their limits; none where there are no limits."""
        if self.low is None or self.high is None:
            return (False,) * len(self.values)
        bounds = zip(self.values, self.low, self.high, strict=True)
        return tuple(not low - SAME <= value <= high + SAME for value, low, high in bounds)


def individuals_chart(values: Sequence[float], u: Sequence[float] | None = None) -> ControlChart:
    """Individuals chart: centre ± 3 standard deviations from the mean moving range over 1.128.

    Args:
        values: one of each calibration, oldest first; at least one.
        u: their standard uncertainties, same unit, above 0; None means alike. Where they differ,
            each range counts in units of the two stated, and each value has limits of its own.

    Raises:
        ValueError: no values, or not one `u` for each.
    """
    observed, stated = _checked(values, u)
    centre = float(np.average(observed, weights=stated**-2.0))
    scatter = moving_scatter(observed, stated)
    if scatter is None:
        return ControlChart(tuple(values), centre, None, None, None, TOO_FEW)
    return _chart(observed, centre, SIGMAS * scatter * stated, scatter)


def ewma_chart(
    values: Sequence[float],
    u: Sequence[float] | None = None,
    *,
    target: float | None = None,
    sd: float | None = None,
    weight: float = LAMBDA,
) -> ControlChart:
    """Exponentially weighted moving average with its exact limits: z = λ·y + (1 - λ)·z before.

    The variance of z is the sum of its parts, λ²(1 - λ)^2k of each value k back, which for equal
    uncertainties is σ²·λ/(2 - λ)·(1 - (1 - λ)^2i) (e-Handbook 6.3.2.4).

    Args:
        values: oldest first; at least one. u: as for `individuals_chart`.
        target: where it starts from; the centre of the values where None.
        sd: of one value where it is known, else from the moving ranges.
        weight: λ, above 0 and up to 1.

    Raises:
        ValueError: no values, or not one `u` for each.
    """
    observed, stated = _checked(values, u)
    if sd is not None:
        stated, scatter = np.full(observed.size, sd), 1.0
    else:
        found = moving_scatter(observed, stated)
        scatter = found if found is not None else 0.0
    centre = float(np.average(observed, weights=stated**-2.0)) if target is None else target
    average, variance = centre, 0.0
    averages, variances = [], []
    for value, own in zip(observed, scatter * stated, strict=True):
        average = weight * float(value) + (1 - weight) * average
        variance = (weight * float(own)) ** 2 + (1 - weight) ** 2 * variance
        averages.append(average)
        variances.append(variance)
    if scatter == 0.0:
        return ControlChart(tuple(averages), centre, None, None, None, TOO_FEW)
    return _chart(np.array(averages), centre, SIGMAS * np.sqrt(variances), scatter)


def moving_scatter(values: Array, u: Array) -> float | None:
    """Mean moving range over 1.128, in units of the stated uncertainty; None for one value."""
    if values.size < 2:
        return None
    pairs = np.sqrt((u[1:] ** 2 + u[:-1] ** 2) / 2)
    return float(np.mean(np.abs(np.diff(values)) / pairs)) / D2


def _checked(values: Sequence[float], u: Sequence[float] | None) -> tuple[Array, Array]:
    observed = np.asarray(values, dtype=float)
    stated = np.ones(observed.size) if u is None else np.asarray(u, dtype=float)
    if observed.size == 0 or stated.shape != observed.shape or not np.all(stated > 0):
        raise ValueError("a chart needs values, and an uncertainty above 0 for each")
    return observed, stated


def _chart(values: Array, centre: float, reach: Array, scatter: float) -> ControlChart:
    low, high = centre - reach, centre + reach
    return ControlChart(
        tuple(values.tolist()), centre, tuple(low.tolist()), tuple(high.tolist()), scatter
    )
