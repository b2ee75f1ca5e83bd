"""When an error may have grown to what is no longer harmless, seen from its calibrations.

The line through the last calibrations, with a slope held weakly to none where no drift was
found. Not for whether there is a drift (`drift`). Stands on Student's t.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from asleft.measure.chance import coverage_factor
from asleft.measure.linear import Array
from asleft.measure.years.candidates import scatter_of
from asleft.measure.years.drift import Finding, Series

HORIZON_YEARS = 5.0
MOVES = 0.5  # of the tolerance in a year, sd: a machine nobody knows yet; a guess, ours
_DOUBTFUL = 1.5  # an interval that was too wide already is due when it has grown by this
_STEP_YEARS = 1 / 52


@dataclass(frozen=True)
class Forecast:
    """The error at a time and its 95 % interval, in the series' unit.

    `may_reach_years` is when the interval first leaves what is harmless, None where it does not
    within five years or no tolerance is known. `in_doubt` is true where the interval came near the
    tolerance, or passed it, when it was measured last: then the time is when it has grown by half.
    """

    value: float
    low95: float
    high95: float
    may_reach_years: float | None
    in_doubt: bool


def forecast(series: Series, finding: Finding, at_years: float, set_since: float = 0.0) -> Forecast:
    """What the error is by now, and when it may leave the tolerance.

    Args:
        series: at least one value. finding: what `judge_series` said of it.
        at_years: now. set_since: what the settings in force now add to the charted value.
    """
    last = float(series.at_years[-1])
    values, covariance, dof = _line(series, finding)
    factor = coverage_factor(dof)
    at = np.append(last, at_years + np.arange(0.0, HORIZON_YEARS, _STEP_YEARS))
    rows = np.ones((at.size, values.size))
    rows[:, -1] = at - last
    level = rows @ values + set_since
    reach = factor * np.sqrt(np.einsum("ij,jk,ik->i", rows, covariance, rows))
    may, in_doubt = None, False
    if series.tolerance is not None:
        measured = float(abs(level[0]) + reach[0])
        harmless = max(series.tolerance, _DOUBTFUL * measured)
        in_doubt = harmless > series.tolerance
        beyond = np.flatnonzero(np.abs(level[1:]) + reach[1:] >= harmless)
        may = float(at[1 + beyond[0]]) if beyond.size else None
    now, wide = float(level[1]), float(reach[1])
    return Forecast(now, now - wide, now + wide, may, in_doubt)


def _line(series: Series, finding: Finding) -> tuple[Array, Array, float]:
    """Constant, steps and slope at the last calibration; covariance; degrees of freedom."""
    n = series.value.size
    design = series.whitened(
        np.column_stack([np.ones(n), finding.columns, series.at_years - series.at_years[-1]])
    )
    observed = series.whitened(series.value)
    usual = MOVES * (series.tolerance or float(np.median(series.u)))
    known = np.zeros(design.shape[1])
    if finding.call != "drift":
        known[-1] = usual**-2.0
    covariance = np.linalg.pinv(design.T @ design + np.diag(known))
    values = covariance @ (design.T @ observed)
    scatter, dof = scatter_of(observed - design @ values, design.shape[1])
    return np.asarray(values), np.asarray(covariance * scatter**2), dof
