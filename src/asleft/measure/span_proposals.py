"""Which settings a span trial proposes to change: steps per mm, skew, and the making.

Each proposal gets its evidence from the fit and its verdict from `verdict`. A change of steps
belongs to the controller; growth and shrinkage belong to the making.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from asleft.measure.budget import budget_of, by_readings_u
from asleft.measure.chance import coverage_factor
from asleft.measure.design import PLANES
from asleft.measure.instrument import Instrument
from asleft.measure.parts import AxisParts, Estimate, Parts, Wishes, estimate
from asleft.measure.result import Proposal
from asleft.measure.span_fit import SpanFit
from asleft.measure.tolerance import Tolerance
from asleft.measure.verdict import Evidence, Judgement, judge

PLAUSIBLE_SCALE = 0.03  # a belt or screw further off than this is not what it was taken for
PLAUSIBLE_SHEAR = 0.03
REMEDIES = {
    "scale of the caliper": "check the caliper on a known length of 100 mm or more",
    "temperature of the piece": "let the piece cool for longer and read it beside the caliper",
    "posts bending under the jaws": "use the lightest even force",
    "first layer, before any reading": "read steps against each other, not from the bed face",
    "growth, before any reading": "read inside faces as well as outside ones",
}


@dataclass(frozen=True)
class Deciding:
    """All that proposals are made from."""

    fit: SpanFit
    parts: Parts
    wishes: Wishes
    skew: Mapping[str, float] | None
    tolerance: Tolerance
    instrument: Instrument
    readings: int

    def trouble(self, letters: str) -> str | None:
        """A contradiction among readings along this axis, or on this plane's diagonals."""
        for group in self.fit.misreads.unlocated:
            along = {self.fit.directions[i].rstrip("+-") for i in group}
            if letters in along:
                rows = ", ".join(str(i + 1) for i in group)
                return f"rows {rows} contradict each other: measure these places again"
        return None

    def _along(self, letters: str, unit: str) -> tuple[int, str]:
        """How many readings tell of an axis or a plane's diagonals (at least 1), and in words."""
        if unit == "mm":
            return self.readings, ""
        ways = (letters, f"{letters}+", f"{letters}-")
        count = sum(self.fit.directions.count(way) for way in ways)
        words = f" along {letters}" if len(letters) == 1 else f" on the diagonals of {letters}"
        return max(count, 1), words

    def decide(
        self, found: Estimate, tolerance: float, letters: str, plausible: float, unit: str
    ) -> Judgement:
        """The verdict on one estimate."""
        lines = budget_of(self.fit, found.row, "")
        largest = lines[0].input
        by_reading, by_place = by_readings_u(self.fit, found.row)
        readings, along = self._along(letters, unit)
        return judge(
            Evidence(
                error=found.value,
                u=found.u,
                dof=found.dof,
                tolerance=tolerance,
                u_readings=by_reading,
                u_places=by_place,
                readings=readings,
                along=along,
                largest=f"the {largest}",
                remedy=REMEDIES.get(largest, "print a longer piece, or read more of its faces"),
                plausible=plausible,
                trouble=self.trouble(letters),
                unit=unit,
            )
        )


def propose(deciding: Deciding) -> tuple[Proposal, ...]:
    """All proposals: steps by axis, skew by plane, growth and shrinkage for the making."""
    axes = {a.axis: a for a in deciding.parts.axes}
    if deciding.wishes.drive == "crossed-belt" and {"X", "Y"} <= set(axes):
        found = _common_belts(deciding, axes)
    elif deciding.wishes.drive == "delta" and {"X", "Y"} <= set(axes):
        found = _towers(deciding, axes)
    else:
        found = [_steps(deciding, a) for a in axes.values()]
    found += [_skew(deciding, p, axes) for p in PLANES if deciding.fit.has(f"shear_{p}")]
    return (*found, *_making(deciding))


def _steps(deciding: Deciding, a: AxisParts) -> Proposal:
    judged = deciding.decide(a.steps, deciding.tolerance.scale, a.axis, PLAUSIBLE_SCALE, "%")
    return _steps_proposal(deciding, a.axis, a.steps, judged)


def _steps_proposal(deciding: Deciding, axis: str, found: Estimate, judged: Judgement) -> Proposal:
    in_force = deciding.wishes.in_force.get(axis)
    reason = judged.reason
    if in_force is None:
        reason += "; steps per mm in force are unknown, so no value is proposed"
        proposed = None
    else:
        proposed = in_force / (1 + found.value)
    if deciding.parts.shrinkage is None and judged.verdict == "adjust":
        reason += "; shrinkage is unknown, so steps make this plastic come out right"
    design = (deciding.wishes.geometry or {}).get(axis)
    if design is not None and proposed is not None:
        reason += f"; the drive's design gives {design:g}, {proposed / design - 1:+.2%} away"
    return Proposal(
        setting="steps_per_mm",
        axis=axis,
        place="controller",
        in_force=in_force,
        proposed=proposed,
        u=None if proposed is None else proposed * found.u / (1 + found.value),
        verdict=judged.verdict,
        provisional=judged.provisional,
        p_within_tolerance=judged.p_now,
        p_after=judged.p_after,
        reason=reason,
    )


def _common_belts(deciding: Deciding, axes: Mapping[str, AxisParts]) -> list[Proposal]:
    """Both motors move X and Y: one common change; a difference is geometry, not steps."""
    x, y = axes["X"].steps, axes["Y"].steps
    half = estimate(deciding.fit, (x.row - y.row) / 2)
    common = estimate(deciding.fit, (x.row + y.row) / 2)
    common = replace(common, value=(x.value + y.value) / 2)
    doubted = "X" if deciding.trouble("X") else "Y"
    judged = deciding.decide(common, deciding.tolerance.scale, doubted, PLAUSIBLE_SCALE, "%")
    limit = max(coverage_factor(half.dof) * half.u, deciding.tolerance.scale)
    if abs(half.value) > limit and judged.verdict != "inspect":
        judged = replace(
            judged,
            verdict="inspect",
            provisional=False,
            reason=f"X and Y differ by {2 * half.value:+.2%}, which steps common to both belts "
            "cannot mend: look at the frame, the belt paths and the gantry",
        )
    both = [_steps_proposal(deciding, axis, common, judged) for axis in ("X", "Y")]
    return both + [_steps(deciding, a) for axis, a in axes.items() if axis == "Z"]


def _towers(deciding: Deciding, axes: Mapping[str, AxisParts]) -> list[Proposal]:
    """Steps of a delta scale all axes alike; X and Y beyond that is arm length and radius."""
    x, y = axes["X"].steps, axes["Y"].steps
    z = axes.get("Z")
    if z is None:
        common = estimate(deciding.fit, (x.row + y.row) / 2)
        judged = deciding.decide(common, deciding.tolerance.scale, "XY", PLAUSIBLE_SCALE, "%")
        why = "without heights, steps cannot be told from arm length and radius: read the column"
        judged = replace(judged, reason=f"{judged.reason}; {why}")
        if judged.verdict == "adjust":
            judged = replace(judged, verdict="measure_more", provisional=False)
        return [_steps_proposal(deciding, axis, common, judged) for axis in ("X", "Y")]
    judged = deciding.decide(z.steps, deciding.tolerance.scale, "Z", PLAUSIBLE_SCALE, "%")
    rest = estimate(deciding.fit, (x.row + y.row) / 2 - z.steps.row)
    if abs(rest.value) > max(coverage_factor(rest.dof) * rest.u, deciding.tolerance.scale):
        judged = replace(
            judged,
            reason=f"{judged.reason}; X and Y are {rest.value:+.2%} beyond Z, which is arm length "
            "and radius, not steps",
        )
    return [_steps_proposal(deciding, axis, z.steps, judged) for axis in axes]


def _skew(deciding: Deciding, plane: str, axes: Mapping[str, AxisParts]) -> Proposal:
    found = estimate(deciding.fit, deciding.fit.contrast(**{f"shear_{plane}": 1.0}))
    judged = deciding.decide(found, deciding.tolerance.shear, plane, PLAUSIBLE_SHEAR, "mrad")
    in_force = (deciding.skew or {}).get(plane)
    proposed, reason = None, judged.reason
    if in_force is None:
        reason += "; the skew factor in force is unknown, so no value is proposed"
    else:
        # After the steps are put right the old factor acts on rescaled axes (x − k·y).
        first, second = (axes[a].steps.value if a in axes else 0.0 for a in plane)
        proposed = in_force * (1 + first) / (1 + second) + found.value
    return Proposal(
        setting="skew",
        axis=plane,
        place="controller",
        in_force=in_force,
        proposed=proposed,
        u=None if proposed is None else found.u,
        verdict=judged.verdict,
        provisional=judged.provisional,
        p_within_tolerance=judged.p_now,
        p_after=judged.p_after,
        reason=reason,
    )


def _making(deciding: Deciding) -> list[Proposal]:
    """What the slicing profile takes: growth, and shrinkage where it is known or chosen."""
    found = []
    if deciding.fit.has("growth"):
        growth = estimate(deciding.fit, deciding.fit.contrast(growth=1.0))
        judged = deciding.decide(growth, deciding.tolerance.growth, "XY", 1.0, "mm")
        found.append(_for_making("growth", growth.value, growth.u, judged, judged.reason))
    if deciding.parts.shrinkage is not None:
        h, u = deciding.parts.shrinkage
        judged = judge(
            Evidence(
                error=h,
                u=u,
                dof=float("inf"),
                tolerance=deciding.tolerance.scale,
                u_readings=0.0,
                readings=deciding.readings,
                largest="what is known of the shrinkage",
                remedy="run a traverse",
            )
        )
        reason = f"{judged.reason}; shrinkage is {deciding.parts.how}"
        found.append(_for_making("shrinkage", h, u, judged, reason))
    return found


def _for_making(setting: str, value: float, u: float, judged: Judgement, reason: str) -> Proposal:
    return Proposal(
        setting=setting,
        axis="XY" if setting == "growth" else "XYZ",
        place="making",
        in_force=None,
        proposed=value,
        u=u,
        verdict=judged.verdict,
        provisional=judged.provisional,
        p_within_tolerance=judged.p_now,
        p_after=judged.p_after,
        reason=f"{reason}; what the profile already takes off is not known here",
    )
