"""The span fit: readings to parameters with their covariance and degrees of freedom.

Sets misreads aside, sums repeats by place, and alternates Gauss-Newton steps of the span model
with Fisher-scoring steps of the scatter. Decides nothing: verdicts and words are made above.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asleft.errors import InputError
from asleft.measure.instrument import Instrument
from asleft.measure.linear import Array, LinearFit, Mask, least_squares
from asleft.measure.readings import SpanReading
from asleft.measure.span.design import PARAMETERS, Places, model, prior_sds
from asleft.measure.span.doubt import Misreads
from asleft.measure.span.misread import find_misreads
from asleft.measure.span.places import Summed, number_places, sum_by_place
from asleft.measure.span.scatter import (
    SETTLED,
    PlaceSums,
    Scatter,
    derivatives,
    improve,
    information,
)

_ROUNDS = 40


@dataclass(frozen=True)
class SpanFit:
    """What the readings say, before anyone decides.

    `theta` (15,) in the order of `PARAMETERS`; `covariance` (15, 15), 0 where a parameter plays
    no part; `active` says which do; `prior_sd` (15,). `feel` (3, 15, 15) is how much variance
    each part of the scatter gives (for budget and degrees of freedom). `sums` and `places` are
    of the readings kept.
    """

    theta: Array
    covariance: Array
    active: Mask
    prior_sd: Array
    scatter: Scatter
    feel: Array
    sums: PlaceSums
    places: Places
    misreads: Misreads
    directions: tuple[str, ...]

    def index(self, name: str) -> int:
        """Where a parameter stands."""
        return PARAMETERS.index(name)

    def has(self, name: str) -> bool:
        """Whether the readings feel this parameter at all."""
        return bool(self.active[self.index(name)])

    def contrast(self, **weights: float) -> Array:
        """Weights (15,) from parameter names."""
        row = np.zeros(len(PARAMETERS))
        for name, weight in weights.items():
            row[self.index(name)] = weight
        return row

    def estimate(self, row: Array) -> tuple[float, float, float]:
        """Value, standard uncertainty and effective degrees of freedom of `row · theta`."""
        u = math.sqrt(max(float(row @ self.covariance @ row), 0.0))
        return float(row @ self.theta), u, self.dof(row)

    def by_scatter(self, row: Array) -> Array:
        """Variance (3,) that reading scatter, face scatter and Z's excess give to `row`."""
        pulled = self.covariance @ row
        return np.array([pulled @ a @ pulled for a in self.feel])

    def dof(self, row: Array) -> float:
        """Satterthwaite's degrees of freedom of `row`'s variance; type-B inputs count as sure."""
        variance = float(row @ self.covariance @ row)
        slope = self.by_scatter(row)
        doubt = float(slope @ self.scatter.spread @ slope)
        return max(2 * variance**2 / doubt, 1.0) if doubt > 0 else math.inf


@dataclass(frozen=True)
class _Problem:
    """Everything that stays while the iteration runs. `check` is one more row, or None."""

    summed: Summed
    prior_sd: Array
    active: Mask
    check: tuple[Array, float, float] | None

    def solve(self, columns: Array, target: Array, scatter: Scatter) -> LinearFit:
        """Fit the place means with their present scatter; residuals are of places only."""
        n = target.size
        rows, wanted, sd = columns, target, np.sqrt(scatter.variance(self.summed.sums))
        if self.check is not None:
            rows = np.vstack([rows, self.check[0]])
            wanted, sd = np.append(wanted, self.check[1]), np.append(sd, self.check[2])
        fit = least_squares(rows[:, self.active], wanted, sd, None, self.prior_sd[self.active])
        return LinearFit(fit.values, fit.covariance, fit.residuals[:n], fit.leverage[:n])


def fit_span(
    readings: Sequence[SpanReading], instrument: Instrument, piece_temperature_u_k: float
) -> SpanFit:
    """Fit the span model.

    Args:
        readings: one or more. instrument: what read them.
        piece_temperature_u_k: doubt about the piece's temperature when read, K.

    Raises:
        InputError: no readings, or lengths that are impossible.
    """
    _check(readings)
    every = Places.of(readings)
    observed = np.array([r.reading_mm for r in readings], dtype=float)
    sd = prior_sds(instrument, piece_temperature_u_k)
    predicted, columns = model(every, np.zeros(len(PARAMETERS)))
    active = np.any(np.abs(columns) > 1e-9, axis=0)
    place = number_places(readings)
    misreads = find_misreads(
        columns[:, active],
        observed - predicted,
        np.zeros(int(active.sum())),
        sd[active],
        every.is_z,
        place=place,
    )
    summed = sum_by_place(observed, place, every, misreads.kept, instrument.rounding_sd_mm)
    check = _check_row(instrument) if active[PARAMETERS.index("zero_outside")] else None
    theta, fit, scatter, columns = _iterate(_Problem(summed, sd, active, check))
    variance, slopes = derivatives(scatter, summed.sums)
    return SpanFit(
        theta=theta,
        covariance=_spread_out(fit.covariance, active),
        active=active,
        prior_sd=sd,
        scatter=scatter,
        feel=information(columns, variance, slopes),
        sums=summed.sums,
        places=summed.places,
        misreads=misreads,
        directions=tuple(r.direction for r in readings),
    )


def _check(readings: Sequence[SpanReading]) -> None:
    if not readings:
        raise InputError("there are no readings", hint="Measure the piece first.")
    for row, r in enumerate(readings, start=1):
        if not (0 < r.nominal_mm < math.inf and 0 < r.reading_mm < math.inf):
            raise InputError(
                f"{r.reading_mm:g} mm read for {r.nominal_mm:g} mm is impossible",
                hint="Lengths are above 0.",
                where=f"row {row}",
            )


def _check_row(instrument: Instrument) -> tuple[Array, float, float] | None:
    """The check on a known length as one more reading: zero + scale · length = error found."""
    check = instrument.check
    if check is None:
        return None
    row = np.zeros(len(PARAMETERS))
    row[PARAMETERS.index("zero_outside")] = 1.0
    row[PARAMETERS.index("caliper_scale")] = check.nominal_mm
    return row, check.error_mm, math.hypot(check.u_mm, check.error_u_mm)


def _iterate(problem: _Problem) -> tuple[Array, LinearFit, Scatter, Array]:
    """Gauss-Newton for the parameters, Fisher scoring for the scatter, until both stand still.

    A misread shifts the linearisation by less than 1 mm in 100; two rounds settle it.
    """
    summed, active = problem.summed, problem.active
    theta, scatter = np.zeros(len(PARAMETERS)), Scatter.start()
    for _ in range(_ROUNDS):
        predicted, columns = model(summed.places, theta)
        target = summed.means_mm - predicted + columns @ theta
        fit = problem.solve(columns, target, scatter)
        theta = np.zeros(len(PARAMETERS))
        theta[active] = fit.values
        better = improve(scatter, summed.sums, columns[:, active], fit)
        moved = float(np.max(np.abs(better.log - scatter.log)))
        scatter = better
        if moved < SETTLED:
            break
    return theta, fit, scatter, columns


def _spread_out(covariance: Array, active: Mask) -> Array:
    full = np.zeros((len(PARAMETERS), len(PARAMETERS)))
    full[np.ix_(active, active)] = covariance
    return full
