"""The four verdicts: leave, adjust, inspect, measure more.

The rule of decision alone (JCGM 106 probabilities, our thresholds); what the number means and
where it goes is the solver's. Also answers "how many more readings would decide".
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from asleft.measure.chance import (
    chi_square_quantile,
    coverage_factor,
    probability_below,
    probability_within,
    t_quantile,
)
from asleft.measure.result import Proposal, Verdict
from asleft.units import decimals_of

LEAVE_AT = 0.95  # probability within tolerance from which a setting is left alone
GUARD = 1.645  # one-sided 95 % where readings are many (ISO 14253-1: guard factor)
GUARD_AT = 0.95  # with few readings Student's factor of the same probability guards
DECIDE_AT = 0.80  # "so many more" must decide in at least this share of cases
CAREFUL = 0.10  # the scatter may be larger than it looks: taken at its upper 90 % limit
_FACTORS = {"%": 100.0, "mrad": 1000.0}  # as shown, over as computed
MORE_FACTORS = (1.5, 2, 3, 4, 6, 8, 12, 16)  # beyond 16 times the readings it is no advice


@dataclass(frozen=True)
class Judgement:
    """A verdict with its reason; probabilities that the error is within tolerance."""

    verdict: Verdict
    provisional: bool
    p_now: float | None
    p_after: float | None
    reason: str


@dataclass(frozen=True)
class Evidence:
    """What a verdict is made from. All in the unit of the error (relative, rad or mm).

    `u_readings` is the part of `u` that any further readings shrink, `u_places` the part that
    only readings at other places shrink; `readings` how many there were that count here, `along`
    says which, in words; `largest` the largest line of the budget in words; `remedy` what would
    help if readings cannot. `plausible` is the largest change that the drive allows, `trouble` a
    contradiction that was found, in words.
    """

    error: float
    u: float
    dof: float
    tolerance: float
    u_readings: float
    readings: int
    largest: str
    remedy: str
    plausible: float = math.inf
    trouble: str | None = None
    unit: str = "%"
    u_places: float = 0.0
    along: str = ""


def judge(e: Evidence) -> Judgement:
    """Decide on one error. See `Evidence` for units and meaning."""
    p_now = probability_within(e.error, e.u, e.dof, e.tolerance)
    p_after = probability_within(0.0, e.u, e.dof, e.tolerance)

    def so(verdict: Verdict, reason: str, provisional: bool = False) -> Judgement:
        return Judgement(verdict, provisional, p_now, p_after, reason)

    u95, size = coverage_factor(e.dof) * e.u, abs(e.error)
    shown = _with_doubt(e.error, u95, e.unit)
    if e.trouble:
        return so("inspect", e.trouble)
    if size > e.plausible:
        limit = f"{e.plausible * _FACTORS.get(e.unit, 1.0):g} {e.unit}"
        return so("inspect", f"{shown} is more than a sound drive can be off ({limit})")
    if p_now >= LEAVE_AT:
        return so("leave", f"{shown} is within tolerance with probability {p_now:.3f}")
    if u95 <= e.tolerance and size > max(u95, e.tolerance / 2 + guard(e.dof) * e.u):
        return so("adjust", f"{shown} is an error that the readings support")
    if u95 > e.tolerance and size > u95 + e.tolerance:
        return so("adjust", f"{shown} is certainly too much: adjust, then measure again", True)
    return so("measure_more", f"{shown} does not decide; {_advice(e)}")


def proposal_of(
    judged: Judgement,
    *,
    setting: str,
    axis: str,
    place: Literal["controller", "making"],
    in_force: float | None,
    proposed: float | None,
    u: float | None,
    reason: str,
) -> Proposal:
    """The proposal that a verdict carries; `reason` is the verdict's own and what a solver adds."""
    return Proposal(
        setting=setting,
        axis=axis,
        place=place,
        in_force=in_force,
        proposed=proposed,
        u=u,
        verdict=judged.verdict,
        provisional=judged.provisional,
        p_within_tolerance=judged.p_now,
        p_after=judged.p_after,
        reason=reason,
    )


def guard(dof: float) -> float:
    """Standard uncertainties beyond half the tolerance from which an error is adjusted."""
    return max(GUARD, t_quantile(GUARD_AT, dof))


def more_readings(e: Evidence, *, elsewhere: bool = False) -> int | None:
    """How many more readings would decide in at least 80 % of cases; None if none would.

    Args:
        e: what the verdict was made from.
        elsewhere: the readings are taken at places not read yet, which share no face.
    """
    doubt = 1.0 if math.isinf(e.dof) else math.sqrt(e.dof / chi_square_quantile(CAREFUL, e.dof))
    return _more(e, elsewhere, doubt)


def _more(e: Evidence, elsewhere: bool, doubt: float) -> int | None:
    """The same, with the scatter taken as `doubt` times what it looks."""
    scatter = min(math.hypot(e.u_readings, e.u_places), e.u)
    sure = math.sqrt(e.u**2 - scatter**2)
    alone = elsewhere or e.u_places == 0.0
    # Few readings hardly tell the hand's scatter from the faces': believe less of what shrinks.
    shrinks = scatter if alone else min(e.u_readings, e.u) / doubt
    stays = math.sqrt(max(scatter**2 - shrinks**2, 0.0))
    for factor in MORE_FACTORS:
        u = math.hypot(sure, doubt * stays, doubt * shrinks / math.sqrt(factor))
        # With more readings the scatter itself is better known, that of faces at new ones only.
        dof = e.dof + (e.readings * (factor - 1) if alone else 0.0)
        if _decided(e, u, dof) >= DECIDE_AT:
            return math.ceil(e.readings * (factor - 1))
    return None


def _decided(e: Evidence, u: float, dof: float) -> float:
    """Chance of a decision once the uncertainty is `u`, seen from today's estimate."""
    spread = math.sqrt(max(e.u**2 - u**2, 0.0)) or 1e-12
    u95 = coverage_factor(dof) * u
    leave_below = max(e.tolerance - t_quantile(LEAVE_AT, dof) * u, 0.0)
    adjust_above = max(u95, e.tolerance / 2 + guard(dof) * u)
    if u95 > e.tolerance:
        leave_below, adjust_above = 0.0, u95 + e.tolerance
    if adjust_above <= leave_below:
        return 1.0

    def below(x: float) -> float:
        return probability_below((x - e.error) / spread, e.dof)

    open_right = below(adjust_above) - below(leave_below)
    open_left = below(-leave_below) - below(-adjust_above)
    return 1.0 - open_right - open_left


def _advice(e: Evidence) -> str:
    head = f"the largest doubt is {e.largest}"
    for elsewhere in (False, True):
        more = more_readings(e, elsewhere=elsewhere)
        if more is not None:
            where = " at places not read yet" if elsewhere else ""
            return f"{head}; about {more} more readings{e.along}{where} would decide"
    if _more(e, True, 1.0) is not None:
        # They may well decide, but so few do not know their scatter well enough for a promise.
        where = " at places not read yet" if e.u_places else ""
        return f"{head}; take {e.readings} more{e.along}{where}, to tell how many would decide"
    return f"{head}, and no number of readings with this instrument decides: {e.remedy}"


def _with_doubt(value: float, u95: float, unit: str) -> str:
    """`+0.616 % ± 0.048 %`: two digits of the doubt, the value to the same place."""
    factor = _FACTORS.get(unit, 1.0)
    places = decimals_of(u95 * factor)
    return f"{value * factor:+.{places}f} {unit} ± {u95 * factor:.{places}f} {unit}"
