"""Has a machine stayed, stepped or drifted over its calibrations, or can nobody tell yet?

Nested models by generalised least squares: a constant, steps at an event or anywhere, a straight
line. Not for whether it matters (`ahead`) nor for a caliper that moves many (`shared`). Stands
on `candidates`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from asleft.measure.chance import coverage_factor
from asleft.measure.linear import Array
from asleft.measure.years.candidates import FALSE_ALARM, Best, Candidates, best_of, scatter_of

Call = Literal["steady", "step", "drift", "changed", "unknown"]
SURE = 0.9  # probability from which a step is told from a drift; ours
FEWEST = 4  # calibrations from which "nothing moved" may be said; ours
ABSURD = 50.0  # tolerances a year: no machine drifts so, the calibrations are days apart
_UNITS = {"1": (100.0, "%"), "rad": (1000.0, "mrad")}


@dataclass(frozen=True)
class Series:
    """One quantity of one machine over its calibrations, oldest first; all arrays (n,).

    `at_years` decimal years; `value` the error it would have shown with settings never changed
    (relative, mm or rad); `u` its standard uncertainty less what the instrument's own error
    adds, which is `instrument_u` and the same for all values of one instrument; `events` times
    and words of what may have moved it; `tolerance` what is harmless, or None.
    """

    machine: str
    unit: str
    at_years: Array
    value: Array
    u: Array
    instrument: tuple[str, ...]
    instrument_u: Array
    events: tuple[tuple[float, str], ...] = ()
    tolerance: float | None = None

    def less(self, offset: Array) -> Series:
        """The same with something known taken off, (n,)."""
        return replace(self, value=self.value - offset)

    def whitened(self, rows: Array) -> Array:
        """Values (n,) or columns (n, m) made independent with sd 1, as the values would be.

        The inverse root of the covariance diag(u²) + Σ g·gᵀ over instruments, g the error that an
        instrument adds to its values: written out, since each g·gᵀ has rank one.
        """
        scale = self.u if rows.ndim == 1 else self.u[:, None]
        white = rows / scale
        for name in set(self.instrument):
            own = np.array([each == name for each in self.instrument]) * self.instrument_u / self.u
            length = float(np.linalg.norm(own))
            if length > 0:
                along = own / length
                less = 1 - 1 / np.sqrt(1 + length**2)
                white = white - less * np.multiply.outer(along, along @ white)
        return np.asarray(white)


@dataclass(frozen=True)
class Step:
    """A step between two calibrations, whose times bound it; `event` says at which event."""

    after_years: float
    before_years: float
    size: float
    u: float
    event: str | None


@dataclass(frozen=True)
class Finding:
    """What a series says. Slopes per year in its unit; `scatter` over the stated one.

    `columns` (n, k) are the steps found, for whoever goes on from here; `p` the probability of
    the strongest departure by chance. `slope_per_year` is None where it is not determined.
    """

    call: Call
    reason: str
    p: float
    steps: tuple[Step, ...]
    slope_per_year: float | None
    slope_u: float | None
    scatter: float
    columns: Array


def judge_series(series: Series) -> Finding:
    """Tell steady, step, drift or changed; unknown where the calibrations cannot tell."""
    n = series.value.size
    white = series.whitened(series.value)
    splits: list[int] = []
    call: Call = "steady"
    first_p = 1.0
    for turn in range(max(1, (n - 2) // 2) if n > 1 else 0):
        base = _base(series, splits)
        best = best_of(white, series.whitened(base), _candidates(series))
        first_p = best.p if turn == 0 else first_p
        if best.p >= FALSE_ALARM:
            break
        if best.slope_odds >= SURE or best.step is None:
            call = "drift"
            break
        if best.slope_odds > 1 - SURE:
            call = "changed"
            break
        call = "step"
        splits.append(_split(series, best))
    return _finding(series, sorted(splits), call, first_p)


def shown(value: float, unit: str, *, signed: bool = True) -> str:
    """A value as people read it: relative ones in %, angles in mrad, lengths in mm."""
    factor, word = _UNITS.get(unit, (1.0, unit))
    return f"{value * factor:{'+' if signed else ''}.3f} {word}"


def _base(series: Series, splits: Sequence[int]) -> Array:
    """A constant, and a step before each calibration of `splits`."""
    place = np.arange(series.value.size)
    return np.column_stack([np.ones(place.size), *(place >= k for k in splits)]).astype(float)


def _candidates(series: Series) -> Candidates:
    """A slope; a step before each calibration but the first, those at events more likely."""
    n = series.value.size
    share = np.full(n - 1, 1.0)
    at_event = np.array([_event(series, k) is not None for k in range(1, n)])
    if at_event.any():
        share = share / share.sum() + at_event / at_event.sum()
    steps = np.tril(np.ones((n, n)))[:, 1:]
    columns = np.column_stack([steps, series.at_years - series.at_years.mean()])
    slope = np.arange(n) == n - 1
    return Candidates(series.whitened(columns), np.append(share / share.sum(), 1.0) / 2, slope)


def _event(series: Series, k: int) -> str | None:
    """What happened between calibration k - 1 and k, the latest."""
    after, before = series.at_years[k - 1], series.at_years[k]
    return next((w for at, w in reversed(series.events) if after < at <= before), None)


def _split(series: Series, best: Best) -> int:
    """Before which calibration the likeliest step stands."""
    assert best.step is not None  # noqa: S101 - the caller saw one
    return best.step + 1


def _finding(series: Series, splits: list[int], call: Call, p: float) -> Finding:
    """The estimates under the model chosen, and the words."""
    base = _base(series, splits)
    slope, slope_u, scatter = _slope(series, base)
    steps = _steps(series, splits, with_slope=call == "drift") if splits else ()
    if call == "steady":
        call, reason = _steadiness(series, slope, slope_u, scatter)
    else:
        reason = _reason(series, call, steps, slope, slope_u)
    return Finding(call, reason, p, steps, slope, slope_u, scatter, base[:, 1:])


def _slope(series: Series, base: Array) -> tuple[float | None, float | None, float]:
    """Slope per year and its u with the base beside it, and the scatter about them."""
    if series.value.size <= base.shape[1]:
        return None, None, 1.0
    columns = np.column_stack([base, series.at_years - series.at_years[-1]])
    values, covariance, scatter = _fit(series, columns)
    u = float(np.sqrt(covariance[-1, -1]))
    return (None, None, scatter) if not np.isfinite(u) else (float(values[-1]), u, scatter)


def _fit(series: Series, columns: Array) -> tuple[Array, Array, float]:
    """Values, covariance (scatter included) and scatter of a whitened fit."""
    white = series.whitened(columns)
    normal = white.T @ white
    if np.linalg.matrix_rank(white) < columns.shape[1]:
        return np.zeros(columns.shape[1]), np.full(normal.shape, np.inf), 1.0
    covariance = np.linalg.inv(normal)
    observed = series.whitened(series.value)
    values = covariance @ (white.T @ observed)
    rest = observed - white @ values
    scatter, _ = scatter_of(rest, columns.shape[1])
    return np.asarray(values), np.asarray(covariance * scatter**2), scatter


def _steps(series: Series, splits: list[int], *, with_slope: bool) -> tuple[Step, ...]:
    columns = _base(series, splits)
    if with_slope:
        columns = np.column_stack([columns, series.at_years - series.at_years[-1]])
    values, covariance, _ = _fit(series, columns)
    return tuple(
        Step(
            float(series.at_years[k - 1]),
            float(series.at_years[k]),
            float(values[j]),
            float(np.sqrt(covariance[j, j])),
            _event(series, k),
        )
        for j, k in enumerate(splits, start=1)
    )


def _steadiness(
    series: Series, slope: float | None, slope_u: float | None, scatter: float
) -> tuple[Call, str]:
    """Steady only where a drift that matters would have shown."""
    n = series.value.size
    if n < FEWEST or slope is None or slope_u is None:
        many = "calibration" if n == 1 else "calibrations"
        return "unknown", f"{n} {many}: too few calibrations to tell"
    reach = coverage_factor(max(n - 2.0, 1.0)) * slope_u
    if series.tolerance is not None and reach > ABSURD * series.tolerance:
        return "unknown", (
            f"nothing moved that shows, but {n} calibrations so close together say nothing of years"
        )
    if series.tolerance is not None and reach > series.tolerance:
        return "unknown", (
            f"nothing moved that shows, but a drift of {shown(reach, series.unit, signed=False)}"
            " a year could hide: too few calibrations to tell"
        )
    return "steady", f"{n} calibrations agree, with {scatter:.1f} times the scatter stated"


def _reason(
    series: Series, call: Call, steps: tuple[Step, ...], slope: float | None, slope_u: float | None
) -> str:
    parts = [
        f"a step of {shown(step.size, series.unit)} ± "
        f"{shown(2 * step.u, series.unit, signed=False)}"
        + (f" where {step.event}" if step.event else "")
        for step in steps
    ]
    if call == "drift" and slope is not None and slope_u is not None:
        reach = shown(2 * slope_u, series.unit, signed=False)
        parts.append(f"a drift of {shown(slope, series.unit)} ± {reach} a year")
    if call == "changed":
        moved = float(series.value[-1] - series.value[0])
        parts.append(
            f"it moved ({shown(moved, series.unit)} from the first to the last), but whether in"
            " a step or little by little these calibrations do not tell"
        )
    return ", then ".join(parts)
