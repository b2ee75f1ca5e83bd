"""What tries that refuse, turn or are loose leave possible: two thresholds and their scatter.

A posterior on a grid: the first threshold flat, the play from there to loose as of running fits,
the scatter from one printed part to the next as of any printed face. Also what the next part will
do. Knows no verdict.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from asleft.measure.face import FACE_LOG_SD, FACE_SD_MM
from asleft.measure.linear import Array

BEYOND_MM = 0.3  # how far beyond the tries the thresholds may lie
# From just turning to loose: a running fit H7/f7 has up to 0.04 mm of clearance at 8 mm, a loose
# one H11/c11 from 0.08 to 0.26 (ISO 286-2; from memory). So 95 of 100 lie within 0.03 and 0.26.
PLAY_TYPICAL_MM, PLAY_LOG_SD = 0.09, 0.55
# One bore against the next, to 2.5 standard deviations either way: steps of 0.05 mm tell little
# of it, so that a cut tail would make intervals narrow where bores are rough.
SCATTERS_MM = FACE_SD_MM * np.exp(FACE_LOG_SD * np.linspace(-2.5, 2.5, 9))
RISK = 0.025  # of refusing, that the next part may have where it needs not be loose either
_GRID = 241


@dataclass(frozen=True)
class Marginal:
    """A distribution on a grid of clearances, mm."""

    at_mm: Array
    weight: Array

    @property
    def mean_mm(self) -> float:
        """Its mean."""
        return float(self.at_mm @ self.weight)

    @property
    def u_mm(self) -> float:
        """Its standard deviation."""
        return math.sqrt(float((self.at_mm - self.mean_mm) ** 2 @ self.weight))

    def quantile(self, p: float) -> float:
        """Within cells the weight lies evenly."""
        step = self.at_mm[1] - self.at_mm[0]
        edges = np.append(self.at_mm - step / 2, self.at_mm[-1] + step / 2)
        return float(np.interp(p, np.append(0.0, np.cumsum(self.weight)), edges))


@dataclass(frozen=True)
class Thresholds:
    """Where a part begins to turn and to be loose: weights [scatter, clearance], sum 1 each."""

    at_mm: Array
    first: Array
    second: Array

    @property
    def turns(self) -> Marginal:
        """From refusing to turning."""
        return Marginal(self.at_mm, self.first.sum(axis=0))

    @property
    def loose(self) -> Marginal:
        """From turning to loose."""
        return Marginal(self.at_mm, self.second.sum(axis=0))

    @property
    def scatter_mm(self) -> float:
        """Root mean square of the scatter from one printed part to the next."""
        return math.sqrt(float(SCATTERS_MM**2 @ self.first.sum(axis=1)))

    @property
    def scatter_u_mm(self) -> float:
        """How well that is known: its standard deviation over what is possible."""
        weight = self.first.sum(axis=1)
        return math.sqrt(max(float(SCATTERS_MM**2 @ weight - (SCATTERS_MM @ weight) ** 2), 0.0))

    def scatter_within(self, p: float) -> float:
        """That scatter's quantile, mm; between nodes even in the logarithm."""
        below = np.cumsum(self.first.sum(axis=1)) - self.first.sum(axis=1) / 2
        return float(np.exp(np.interp(p, below, np.log(SCATTERS_MM))))

    def turning(self, drawn_mm: float) -> float:
        """Probability that the next part turns and is not loose, drawn with this clearance."""
        refuses, loose = self._next(np.array([drawn_mm]))
        return float(1 - refuses[0] - loose[0])

    def best_mm(self, *, loose_counts: bool) -> float:
        """The least clearance at which the next part hardly refuses.

        Where there is no room to be sure of both, the one at which most turn. `loose_counts` is
        false where nothing is known of when it becomes loose.
        """
        refuses, loose = self._next(self.at_mm)
        sure = int(np.argmax(refuses <= RISK))
        if not loose_counts or (refuses[sure] <= RISK and loose[sure] <= RISK):
            return float(self.at_mm[sure])
        return float(self.at_mm[np.argmin(refuses + loose)])

    def _next(self, drawn_mm: Array) -> tuple[Array, Array]:
        """Probabilities that the next part refuses, and is loose; its own scatter included."""
        from scipy.special import ndtr

        refuses, loose = np.zeros(drawn_mm.size), np.zeros(drawn_mm.size)
        for scatter, first, second in zip(SCATTERS_MM, self.first, self.second, strict=True):
            below = ndtr((self.at_mm[:, None] - drawn_mm[None, :]) / scatter)
            refuses += first @ below
            loose += second @ (1 - below)
        return refuses, loose


def thresholds(drawn_mm: Array, rank: NDArray[np.intp]) -> Thresholds:
    """The posterior from tries: clearances drawn, mm, and 0 refuses, 1 turns, 2 is loose.

    Before any try the first is flat, play and scatter are log-normal.
    """
    tries, count = np.unique(
        np.column_stack([np.round(drawn_mm, 3), rank]), axis=0, return_counts=True
    )
    drawn, rank = tries[:, 0], tries[:, 1].astype(int)
    at = np.linspace(drawn.min() - BEYOND_MM, drawn.max() + BEYOND_MM, _GRID)
    # Nothing is loose before it turns: only pairs of a first and a larger second.
    pairs = np.triu_indices(_GRID, 1)
    before = _before(at[pairs[1]] - at[pairs[0]])
    tried = _Tried(drawn, rank, count.astype(float))
    logs = np.array([before + _log_prior(s) + tried.log(at, *pairs, s) for s in SCATTERS_MM])
    weights = np.exp(logs - logs.max())
    weights /= weights.sum()
    first, second = (
        np.array([np.bincount(of, w, minlength=_GRID) for w in weights]) for of in pairs
    )
    return Thresholds(at, first, second)


def _before(play_mm: Array) -> Array:
    """What is thought of a play above 0 before any try: log-normal."""
    known = np.log(play_mm / PLAY_TYPICAL_MM)
    return np.asarray(-0.5 * (known / PLAY_LOG_SD) ** 2 - known)


def _log_prior(scatter_mm: float) -> float:
    """Of a scatter, each node as far from the next in the logarithm."""
    return -0.5 * (math.log(scatter_mm / FACE_SD_MM) / FACE_LOG_SD) ** 2


@dataclass(frozen=True)
class _Tried:
    """Different tries and how often each was made."""

    drawn_mm: Array
    rank: NDArray[np.intp]
    often: Array

    def log(
        self, at: Array, first: NDArray[np.intp], second: NDArray[np.intp], scatter_mm: float
    ) -> Array:
        """Log-likelihood of pairs of thresholds, numbers in `at`, parts scattering so much."""
        from scipy.special import log_ndtr, ndtr

        z = (at[:, None] - self.drawn_mm[None, :]) / scatter_mm
        refused, loose = self.rank == 0, self.rank == 2
        log: Array = (log_ndtr(z[:, refused]) @ self.often[refused])[first]
        log += (log_ndtr(-z[:, loose]) @ self.often[loose])[second]
        for k in np.flatnonzero(self.rank == 1):
            below = ndtr(z[:, k])
            between = below[second] - below[first]
            log += self.often[k] * np.log(np.maximum(between, 1e-300))
        return log
