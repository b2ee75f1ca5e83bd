"""What a misread must beat: the fit without it, its scatter, and the bar to stand out.

Shared by the search forwards (`misread`) and the check backwards. Readings apart (heights) may
scatter otherwise than the plane: their scatter is their own, with a share of the plane's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from asleft.measure.chance import t_quantile
from asleft.measure.linear import Array, LinearFit, Mask, quick_fit

FALSE_ALARM = 0.05  # over a whole set of good readings
CLEAR_MM = 0.1  # less than a wrong tenth is scatter, not a misread
TYPICAL_SD_MM = 0.03
_TYPICAL_DOF = 2.0
_SHARED_DOF = 3.0  # how much of the plane's scatter is believed of the readings apart


@dataclass(frozen=True)
class Misreads:
    """`kept` is a mask (n,), `off_mm` (n,) what each reading departs from the others' fit.

    `unlocated` lists groups of readings (indices) of which one is wrong, nobody knows which, and
    which the fit cannot do without; `together` lists such groups that were set aside whole.
    """

    kept: Mask
    off_mm: Array
    unlocated: tuple[tuple[int, ...], ...]
    together: tuple[tuple[int, ...], ...]


@dataclass(frozen=True)
class Problem:
    """A linear design (n, p) with priors; `apart` (n,) tells heights from the rest."""

    design: Array
    observed: Array
    prior_mean: Array
    prior_sd: Array
    apart: Mask

    def fit(self, mask: Mask, sd: Array | float) -> LinearFit:
        """Fit the readings of a mask."""
        chosen_sd = sd[mask] if isinstance(sd, np.ndarray) else sd
        return quick_fit(
            self.design[mask], self.observed[mask], chosen_sd, self.prior_mean, self.prior_sd
        )

    def off(self, fit: LinearFit) -> Array:
        """Departures (n,) of all readings from a fit."""
        return np.asarray(self.observed - self.design @ fit.values)

    def share(self, fit: LinearFit, sd: float) -> Array:
        """Variance of each fitted value over the variance of a reading, (n,)."""
        pulled = self.design @ fit.covariance
        return np.asarray(np.einsum("ij,ij->i", pulled, self.design) / sd**2)


def with_typical(sd: float, dof: float) -> float:
    """A standard deviation on `dof` degrees of freedom, weakly held to the typical one."""
    dof = max(dof, 0.0)
    pooled = dof * sd**2 + _TYPICAL_DOF * TYPICAL_SD_MM**2
    return math.sqrt(pooled / (dof + _TYPICAL_DOF))


def limit(n: int, dof: float) -> float:
    """Student factor that one of `n` good readings seldom passes."""
    return t_quantile(1 - FALSE_ALARM / (2 * n), max(dof, 1.0) + _TYPICAL_DOF)


def scatter(
    fit: LinearFit, apart: Mask, *, of_apart: bool, less: float | None = None
) -> tuple[float, float]:
    """Standard deviation of the readings fitted, and its degrees of freedom.

    Args:
        fit: with `TYPICAL_SD_MM` for every reading. apart: mask over the readings fitted.
        of_apart: of the readings apart rather than of all.
        less: a standardised departure in mm that is not to count, or None.
    """
    room, squares = 1.0 - fit.leverage, fit.residuals**2
    out, one = (0.0, 0.0) if less is None else (less**2, 1.0)
    dof = float(room.sum()) - one
    sd = math.sqrt(max(float(squares.sum()) - out, 0.0) / max(dof, 1.0))
    sd = with_typical(sd, dof)
    if not of_apart:
        return sd, dof
    own = max(float(squares[apart].sum()) - out, 0.0)
    own_dof = max(float(room[apart].sum()) - one, 0.0)
    pooled = (own + _SHARED_DOF * sd**2) / (own_dof + _SHARED_DOF)
    return math.sqrt(pooled), own_dof + _SHARED_DOF - _TYPICAL_DOF
