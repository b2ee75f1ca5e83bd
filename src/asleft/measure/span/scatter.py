"""How much readings scatter: at one place, from place to place, and in Z.

Restricted maximum likelihood by Fisher scoring on log variances, with weak priors that only
speak where the data are silent (each is worth about one degree of freedom). Knows sums over
places, never a matrix of readings by readings. Stands on `linear` arrays alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from asleft.measure.face import FACE_LOG_SD, FACE_SD_MM
from asleft.measure.linear import Array, LinearFit, Mask

READING_SD_MM = 0.02  # a practised hand with a digital caliper; common practice, no source
_PRIOR_LOG_SD = 2 * FACE_LOG_SD  # of a log variance: as much as one degree of freedom tells
_LARGEST_STEP = 1.5
SETTLED = 1e-4


@dataclass(frozen=True)
class PlaceSums:
    """Readings summed by place: counts (n,), and the scatter within places (mm², count − 1).

    Within-place sums are (in the plane and diagonals, in Z).
    """

    count: Array
    is_z: Mask
    within_mm2: tuple[float, float]
    within_dof: tuple[int, int]
    floor_mm2: float


@dataclass(frozen=True)
class Scatter:
    """Log variances: of a reading, of a face, and of Z over the rest.

    `spread` is the covariance of the three, for degrees of freedom.
    """

    log: Array
    spread: Array

    @classmethod
    def start(cls) -> Scatter:
        """What is taken before any reading."""
        return cls(_centre(), np.asarray(np.linalg.inv(_prior_precision()), dtype=float))

    @property
    def reading_mm(self) -> float:
        """Standard deviation of one reading at a place, in the plane."""
        return math.exp(self.log[0] / 2)

    @property
    def face_mm(self) -> float:
        """Standard deviation from place to place, in the plane."""
        return math.exp(self.log[1] / 2)

    @property
    def z_factor(self) -> float:
        """Variance in Z over variance in the plane."""
        return math.exp(self.log[2])

    def parts(self, count: Array, is_z: Mask) -> tuple[Array, Array]:
        """Variances (n,) of place means by reading scatter and by face scatter, mm²."""
        factor = np.where(is_z, self.z_factor, 1.0)
        return factor * math.exp(self.log[0]) / count, factor * math.exp(self.log[1])

    def variance(self, sums: PlaceSums) -> Array:
        """Variances (n,) of place means; never better than the instrument's last digit."""
        reading, face = self.parts(sums.count, sums.is_z)
        return np.maximum(reading + face, sums.floor_mm2)


def _centre() -> Array:
    return np.array([2 * math.log(READING_SD_MM), 2 * math.log(FACE_SD_MM), 0.0])


def _prior_precision() -> Array:
    return np.asarray(np.eye(3) / _PRIOR_LOG_SD**2, dtype=float)


def derivatives(scatter: Scatter, sums: PlaceSums) -> tuple[Array, Array]:
    """Variances (n,) and their derivatives (3, n) by the three log variances."""
    reading, face = scatter.parts(sums.count, sums.is_z)
    total = reading + face
    slopes = np.array([reading, face, np.where(sums.is_z, total, 0.0)])
    at_floor = total < sums.floor_mm2
    slopes[:, at_floor] = 0.0
    return np.where(at_floor, sums.floor_mm2, total), slopes


def information(design: Array, variance: Array, slopes: Array) -> Array:
    """Σ over places of design' · slope/variance² · design, (3, p, p): how C feels each part."""
    return np.array([(design * (d / variance**2)[:, None]).T @ design for d in slopes])


def improve(scatter: Scatter, sums: PlaceSums, design: Array, fit: LinearFit) -> Scatter:
    """One step of Fisher scoring at the present fit of the place means."""
    variance, slopes = derivatives(scatter, sums)
    inner = information(design, variance, slopes)
    c = fit.covariance
    relative = slopes / variance
    lever = fit.leverage
    score = 0.5 * relative @ (fit.residuals**2 / variance - 1.0 + lever)
    pulled = np.array([c @ a for a in inner])
    cross = np.einsum("kij,lji->kl", pulled, pulled)
    expected = 0.5 * ((relative * (1.0 - 2.0 * lever)) @ relative.T + cross)
    _add_within(score, expected, scatter, sums)
    precision = _prior_precision()
    score -= precision @ (scatter.log - _centre())
    spread = np.linalg.inv(expected + precision)
    step = np.clip(spread @ score, -_LARGEST_STEP, _LARGEST_STEP)
    log = scatter.log + step
    log[0] = max(log[0], math.log(sums.floor_mm2))
    return Scatter(log, spread)


def _add_within(score: Array, expected: Array, scatter: Scatter, sums: PlaceSums) -> None:
    """Add what repeats at one place tell: χ² of the reading scatter alone."""
    variance = math.exp(scatter.log[0])
    plane_dof, z_dof = sums.within_dof
    plane = sums.within_mm2[0] / variance
    z = sums.within_mm2[1] / (variance * scatter.z_factor)
    score += 0.5 * np.array([plane + z - plane_dof - z_dof, 0.0, z - z_dof])
    expected += 0.5 * np.array(
        [[plane_dof + z_dof, 0.0, z_dof], [0.0, 0.0, 0.0], [z_dof, 0.0, z_dof]]
    )
