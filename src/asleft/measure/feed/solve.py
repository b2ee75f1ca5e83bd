"""The feed trial: how much filament goes in for a commanded length, and what to do about it.

`fed_ratio` is the mean of fed over commanded; steps per mm are divided by it. Where rates vary,
only the two lowest tell the level; where the feed begins to slip is the business of `slip`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asleft.errors import InputError
from asleft.measure.chance import coverage_factor, dof_beside, effective_dof, probability_below
from asleft.measure.feed.slip import slip_quantity
from asleft.measure.instrument import Instrument
from asleft.measure.linear import Array, least_squares, residual_sd
from asleft.measure.readings import FeedReading, impossible_feed
from asleft.measure.result import BudgetLine, Proposal, Quantity, Solution
from asleft.measure.tolerance import Tolerance
from asleft.measure.verdict import Evidence, judge, proposal_of

PLAUSIBLE = 0.20  # an extruder further off than this is broken or not what it was taken for
SCATTER_LIMIT = 0.02
DRIFT_LIMIT = 0.01
DRIFT_P = 0.01
# A mark or a cut by hand is not made and read more alike than this, even where two feeds happen
# to agree to the last digit (ours).
LEAST_SCATTER_MM = 0.03


@dataclass(frozen=True)
class _Level:
    """Mean ratio and the parts of its uncertainty, all relative. `scatter_u` None: one reading.

    `own` are the lines of the budget that the instrument brings, independent of each other.
    """

    ratio: float
    scatter_u: float | None
    scatter_dof: float
    own: tuple[BudgetLine, ...]
    n: int

    @property
    def u(self) -> float | None:
        if self.scatter_u is None:
            return None
        return math.hypot(self.scatter_u, *(line.contribution for line in self.own))


def solve_feed(
    readings: Sequence[FeedReading],
    *,
    instrument: Instrument,
    in_force: float | None,
    axis: str = "E",
    tolerance: Tolerance = Tolerance(),  # noqa: B008 - frozen
) -> Solution:
    """Estimate the fed ratio and propose steps per mm.

    Args:
        readings: one or more feeds, mm. instrument: what measured them.
        in_force: steps per mm while feeding, or None when unknown (no value is then proposed).
        axis: the extruder's name, `E`, `E0`, …

    Returns:
        A solution with the quantity `fed_ratio` (1 is right) and one proposal; from three rates
        on also `slip_rate` in mm/min: the rate where 1 % is lost, with its bracket.

    Raises:
        InputError: no readings, or lengths that are impossible.
    """
    _check(readings, in_force)
    used, warnings = _slowest(readings)
    ratios = np.array([r.fed_mm / r.commanded_mm for r in used])
    level = _level(used, ratios, instrument)
    if max(r.fed_mm for r in readings) > instrument.reach_mm:
        warnings.append(f"some lengths are beyond the reach of {instrument.reach_mm:g} mm")
    quantity = _quantity(level, axis)
    proposal = _proposal(level, _trouble(ratios, used), in_force, axis, tolerance)
    quantities = [quantity]
    slip = slip_quantity(readings, _rounding(readings, instrument), axis)
    if slip is not None:
        quantities.append(slip[0])
        warnings += slip[1]
    budget = _budget(level)
    return Solution("feed", (*quantities,), (proposal,), budget, (), (*warnings,))


def _check(readings: Sequence[FeedReading], in_force: float | None) -> None:
    if not readings:
        raise InputError("there are no readings", hint="Feed and measure at least once.")
    for row, reading in enumerate(readings, start=1):
        wrong = impossible_feed(reading)
        if wrong is not None:
            raise InputError(wrong[1], hint=wrong[2], where=f"row {row}")
    if in_force is not None and not 0 < in_force < math.inf:
        raise InputError(
            f"{in_force:g} steps per mm are impossible", hint="Give a number above 0.", where="E"
        )


def _slowest(readings: Sequence[FeedReading]) -> tuple[list[FeedReading], list[str]]:
    """The readings that tell the level: all, or those at the two lowest rates."""
    rates = sorted({r.rate_mm_min for r in readings if r.rate_mm_min is not None})
    if len(rates) < 3:
        return list(readings), []
    used = [r for r in readings if r.rate_mm_min is None or r.rate_mm_min <= rates[1]]
    left_out = len(readings) - len(used)
    return used, [
        f"rates vary: the level is from feeds up to {rates[1]:g} mm/min; "
        f"{left_out} faster feeds are not in it"
    ]


def _level(used: Sequence[FeedReading], ratios: Array, instrument: Instrument) -> _Level:
    n, length = len(used), float(np.mean([r.commanded_mm for r in used]))
    rounding = _rounding(used, instrument)  # the mean is never better than one rounding
    spread = max(float(np.std(ratios, ddof=1)), LEAST_SCATTER_MM / length) if n > 1 else None
    scatter = None if spread is None else spread / math.sqrt(n)
    ratio, own = _corrected(used, float(np.mean(ratios)), length, instrument)
    return _Level(
        ratio=ratio,
        scatter_u=None if scatter is None else max(scatter, rounding),
        scatter_dof=n - 1 if scatter is not None and scatter >= rounding else math.inf,
        own=own,
        n=n,
    )


def _corrected(
    used: Sequence[FeedReading], ratio: float, length_mm: float, instrument: Instrument
) -> tuple[float, tuple[BudgetLine, ...]]:
    """The ratio without the instrument's own error, and what is not known of that."""

    def line(what: str, u: float, sensitivity: float) -> BudgetLine:
        return BudgetLine("fed_ratio", what, "B", u, sensitivity, u * sensitivity)

    # The zero cancels between mark and remaining length, both read by the same jaws.
    if any(r.remaining_mm is None for r in used) and instrument.check is not None:
        error, u = instrument.own_error(ratio * length_mm)
        what = "error of the caliper at this length, after its check"
        return ratio - error / length_mm, (line(what, u, 1 / length_mm),)
    scale, scale_u = instrument.own_scale()
    ratio /= 1 + scale
    own = [line("scale of the caliper", scale_u, ratio)]
    if any(r.remaining_mm is None for r in used):
        own.append(line("zero of the outside jaws", instrument.outside_zero_sd_mm, 1 / length_mm))
    return ratio, tuple(own)


def _rounding(used: Sequence[FeedReading], instrument: Instrument) -> float:
    """Relative standard uncertainty of one ratio by the last digit; a difference rounds twice."""
    length = float(np.mean([r.commanded_mm for r in used]))
    marked = all(r.remaining_mm is not None for r in used)
    return instrument.rounding_sd_mm * (math.sqrt(2) if marked else 1.0) / length


def _dof(level: _Level) -> float:
    assert level.scatter_u is not None  # noqa: S101 - callers have looked
    own = tuple(line.contribution for line in level.own)
    if level.scatter_dof == 1:
        return dof_beside(level.scatter_u, 1, own)
    return effective_dof(((level.scatter_u, level.scatter_dof), *((u, math.inf) for u in own)))


def _trouble(ratios: Array, used: Sequence[FeedReading]) -> str | None:
    """What no steps per mm can mend: scatter, or drift over the repeats."""
    n = ratios.size
    if n < 2:
        return None
    if n >= 3:
        order = np.arange(n, dtype=float)
        design = np.column_stack([np.ones(n), order])
        fit = least_squares(design, ratios, 1.0)
        sd = max(residual_sd(fit), 1e-12)
        drift = float(fit.values[1]) * (n - 1)
        t = abs(fit.values[1]) / (sd * math.sqrt(fit.covariance[1, 1]))
        p = 2 * (1 - probability_below(float(t), n - 2))
        if p < DRIFT_P and abs(drift) > DRIFT_LIMIT:
            return (
                f"the fed length drifts by {drift:+.1%} over {n} feeds (p = {p:.3f}): look for a "
                "warming gear, a slipping grip or a dragging spool"
            )
    spread = float(np.std(ratios, ddof=1))
    if spread > SCATTER_LIMIT:
        return (
            f"the feeds scatter by {spread:.1%}: look for a slipping grip, a partly closed nozzle "
            "or a misread length, then repeat"
        )
    return None


def _quantity(level: _Level, axis: str) -> Quantity:
    if level.u is None:
        reason = "one reading tells nothing of its scatter"
        return Quantity("fed_ratio", level.ratio, None, None, None, "1", axis, None, reason)
    u95 = coverage_factor(_dof(level)) * level.u
    low, high = level.ratio - u95, level.ratio + u95
    return Quantity("fed_ratio", level.ratio, level.u, low, high, "1", axis)


def _proposal(
    level: _Level, trouble: str | None, in_force: float | None, axis: str, tolerance: Tolerance
) -> Proposal:
    proposed = in_force / level.ratio if in_force and level.ratio > 0 else None
    error = level.ratio - 1.0
    if level.u is None or level.scatter_u is None:
        if abs(error) > PLAUSIBLE:
            verdict, why = "inspect", f"{error:+.1%} is more than an extruder can be off"
        else:
            verdict, why = "measure_more", "one reading tells nothing of its scatter; take four"
        return Proposal(
            "steps_per_mm", axis, "controller", in_force, proposed, None,
            "inspect" if verdict == "inspect" else "measure_more", False, None, None, why,
        )  # fmt: skip
    judged = judge(
        Evidence(
            error=error,
            u=level.u,
            dof=_dof(level),
            tolerance=tolerance.feed,
            u_readings=level.scatter_u,
            readings=level.n,
            largest="the scatter of the feeds"
            if level.scatter_u >= max(line.contribution for line in level.own)
            else "the caliper itself",
            remedy="feed a longer length, or check the caliper on a known length",
            plausible=PLAUSIBLE,
            trouble=trouble,
        )
    )
    reason = judged.reason
    if in_force is None:
        reason += "; steps per mm in force are unknown, so no value is proposed"
    return proposal_of(
        judged,
        setting="steps_per_mm",
        axis=axis,
        place="controller",
        in_force=in_force,
        proposed=proposed,
        u=None if proposed is None else proposed * level.u / level.ratio,
        reason=reason,
    )


def _budget(level: _Level) -> tuple[BudgetLine, ...]:
    lines = list(level.own)
    if level.scatter_u is not None:
        u, one = level.scatter_u * math.sqrt(level.n), 1 / math.sqrt(level.n)
        lines.append(BudgetLine("fed_ratio", "scatter of a feed", "A", u, one, level.scatter_u))
    return tuple(sorted(lines, key=lambda line: -line.contribution))
