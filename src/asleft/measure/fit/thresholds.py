"""What tries that refuse, turn or are loose leave possible: two thresholds and their scatter.

A posterior on a grid: flat thresholds, a play of bounded width, a log-normal scatter from one
printed part to the next. Also what the next part will do. Knows no verdict.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from asleft.measure.linear import Array

BEYOND_MM = 0.3  # how far beyond the tries the thresholds may lie
PLAY_MM = 0.4  # from just turning to loose, at most; a guess, ours
SCATTERS_MM = np.geomspace(0.003, 0.06, 9)  # one bore against the next
SCATTER_TYPICAL_MM, SCATTER_LOG_SD = 0.015, 0.8  # before any try; a guess, ours
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

    Flat before any try; the play between the two is flat up to `PLAY_MM`; scatter log-normal.
    """
    tries, count = np.unique(
        np.column_stack([np.round(drawn_mm, 3), rank]), axis=0, return_counts=True
    )
    drawn, rank = tries[:, 0], tries[:, 1].astype(int)
    at = np.linspace(drawn.min() - BEYOND_MM, drawn.max() + BEYOND_MM, _GRID)
    often = count.astype(float)
    logs = [_log_likelihood(at, drawn, rank, often, scatter) for scatter in SCATTERS_MM]
    peak = max(float(log.max()) for log in logs)
    weights = [np.exp(log - peak) for log in logs]
    total = sum(float(w.sum()) for w in weights)
    first = np.array([w.sum(axis=1) for w in weights]) / total
    second = np.array([w.sum(axis=0) for w in weights]) / total
    return Thresholds(at, first, second)


def _log_likelihood(
    at: Array, drawn: Array, rank: NDArray[np.intp], count: Array, scatter_mm: float
) -> Array:
    """Of each pair [first, second], with what is thought of this scatter before any try."""
    from scipy.special import log_ndtr, ndtr

    play = at[None, :] - at[:, None]
    z = (at[:, None] - drawn[None, :]) / scatter_mm
    log: Array = np.where((play > 0) & (play <= PLAY_MM), 0.0, -np.inf)
    log += (log_ndtr(z[:, rank == 0]) @ count[rank == 0])[:, None]
    log += (log_ndtr(-z[:, rank == 2]) @ count[rank == 2])[None, :]
    for k in np.flatnonzero(rank == 1):
        between = ndtr(z[None, :, k]) - ndtr(z[:, None, k])
        log += count[k] * np.log(np.maximum(between, 1e-300))
    log -= 0.5 * (math.log(scatter_mm / SCATTER_TYPICAL_MM) / SCATTER_LOG_SD) ** 2
    return log
