"""Proposals of a span trial for drives whose motors share axes: crossed belts and deltas.

Crossed belts take one value for both motors. A delta's steps scale all three axes, and what X and
Y are off beyond Z is arm length and radius. Stands on `span_deciding` and `arms`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from asleft.measure.chance import coverage_factor
from asleft.measure.result import Proposal
from asleft.measure.span.arms import REACH_MM, Arms
from asleft.measure.span.deciding import PLAUSIBLE_SCALE, Deciding, steps_alone, steps_proposal
from asleft.measure.span.parts import AxisParts, Estimate, estimate
from asleft.measure.verdict import Judgement, proposal_of

NO_HEIGHTS = "without heights, steps cannot be told from arm length and radius: read the column"
STEPS_FIRST = "the steps come first, and Z does not decide on them yet"
UNSEEN = (
    "which of the two is off cannot be seen in a piece; this pair leaves the bed as flat as it"
    " is now. Then home it, set the height and look at the level again"
)


def common_belts(deciding: Deciding, axes: Mapping[str, AxisParts]) -> list[Proposal]:
    """Both motors move X and Y: one common value; a difference is geometry, not steps."""
    judged, common = _in_common(deciding, axes)
    apart = _apart(deciding, axes)
    held = [deciding.wishes.in_force.get(axis) for axis in ("X", "Y")]
    base = None if held[0] is None or held[1] is None else (held[0] + held[1]) / 2
    unlike = 0.0 if base is None else (held[0] - held[1]) / base  # type: ignore[operator]
    if abs(unlike) > deciding.tolerance.shear:
        judged = _to_inspect(
            judged,
            f"X {held[0]:g} and Y {held[1]:g} steps per mm: each motor moves both axes, and values"
            f" that differ shear the piece by {1000 * abs(unlike):.1f} mrad: make them alike first"
            ", if they are not meant to make up for pulleys that differ",
        )
    elif apart is not None:
        judged = _to_inspect(
            judged,
            f"X and Y differ by {apart:+.2%}, which steps common to both belts cannot mend: look"
            " at the frame, the belt paths and the gantry; what stays is for the making",
        )
    both = [steps_proposal(deciding, axis, common, judged, base=base) for axis in ("X", "Y")]
    return both + [steps_alone(deciding, a) for axis, a in axes.items() if axis == "Z"]


def towers(deciding: Deciding, axes: Mapping[str, AxisParts]) -> list[Proposal]:
    """Steps of a delta scale all axes alike; X and Y beyond that is arm length and radius."""
    z, arms = axes.get("Z"), Arms.of(deciding.wishes.arms)
    if z is None:
        judged, common = _in_common(deciding, axes)
        judged = replace(judged, reason=f"{judged.reason}; {NO_HEIGHTS}")
        if judged.verdict == "adjust":
            judged = replace(judged, verdict="measure_more", provisional=False)
        return [steps_proposal(deciding, axis, common, judged) for axis in ("X", "Y")]
    judged = deciding.decide(z.steps, deciding.tolerance.scale, "Z", PLAUSIBLE_SCALE, "%")
    rest = _beyond(deciding, axes, z, adjusted=True)
    reason = judged.reason
    if abs(rest.value) > max(coverage_factor(rest.dof) * rest.u, deciding.tolerance.scale):
        reason += f"; X and Y are {rest.value:+.2%} beyond Z, which is arm length and radius"
    if judged.verdict == "adjust" and arms is not None:
        reach_mm = _reach_mm(deciding)
        bowl_mm = arms.bowl_by_steps(1 / (1 + z.steps.value), reach_mm)
        reason += (
            f"; new steps alone let the nozzle pass {bowl_mm:+.3f} mm higher {reach_mm:.0f} mm off"
            " the middle than in it: look at the level again"
        )
    steps = [
        steps_proposal(deciding, axis, z.steps, replace(judged, reason=reason)) for axis in axes
    ]
    return steps + _arms(deciding, axes, judged, arms)


def _arms(
    deciding: Deciding, axes: Mapping[str, AxisParts], steps: Judgement, arms: Arms | None
) -> list[Proposal]:
    """L and R together, for what steps leave of the error of X and Y."""
    found = _beyond(deciding, axes, axes["Z"], adjusted=steps.verdict == "adjust")
    doubted = "X" if deciding.trouble("X") else "Y"
    judged = deciding.decide(found, deciding.tolerance.scale, doubted, PLAUSIBLE_SCALE, "%")
    apart = _apart(deciding, axes)
    if apart is not None:
        judged = _to_inspect(
            judged,
            f"X and Y differ by {apart:+.2%}, which arm length and radius cannot mend: look at"
            " the arms, their joints and the towers",
        )
    elif judged.verdict == "adjust" and steps.verdict not in ("adjust", "leave"):
        judged = replace(
            judged,
            verdict="measure_more",
            provisional=False,
            reason=f"{judged.reason}; {STEPS_FIRST}",
        )
    if arms is None:
        reason = f"{judged.reason}; arm length and radius in force are unknown: none is proposed"
        return [
            _arm(name, None, None, None, replace(judged, reason=reason))
            for name in ("L", "R")
        ]  # fmt: skip
    reach_mm = _reach_mm(deciding)
    if abs(found.value) > PLAUSIBLE_SCALE:
        return [
            _arm("L", arms.length_mm, None, None, judged),
            _arm("R", arms.radius_mm, None, None, judged),
        ]
    new = arms.corrected(found.value, reach_mm)
    u = arms.corrected_u(found.value, found.u, reach_mm)
    if judged.verdict == "adjust":
        judged = replace(judged, reason=f"{judged.reason}; {UNSEEN}")
    return [
        _arm("L", arms.length_mm, new.length_mm, u[0], judged),
        _arm("R", arms.radius_mm, new.radius_mm, u[1], judged),
    ]


def _arm(
    name: str, in_force: float | None, proposed: float | None, u: float | None, judged: Judgement
) -> Proposal:
    return proposal_of(
        judged,
        setting={"L": "arm_length", "R": "radius"}[name],
        axis=name,
        place="controller",
        in_force=in_force,
        proposed=proposed,
        u=u,
        reason=judged.reason,
    )


def _in_common(deciding: Deciding, axes: Mapping[str, AxisParts]) -> tuple[Judgement, Estimate]:
    """What X and Y are off in common, with the uncertainty of their mean, and its verdict."""
    x, y = axes["X"].steps, axes["Y"].steps
    common = estimate(deciding.fit, (x.row + y.row) / 2)
    common = replace(common, value=(x.value + y.value) / 2)
    doubted = "X" if deciding.trouble("X") else "Y"
    return (
        deciding.decide(common, deciding.tolerance.scale, doubted, PLAUSIBLE_SCALE, "%"),
        common,
    )


def _beyond(
    deciding: Deciding, axes: Mapping[str, AxisParts], z: AxisParts, *, adjusted: bool
) -> Estimate:
    """What X and Y are off in common once Z's steps are adjusted, or with steps as they are."""
    x, y = axes["X"].steps, axes["Y"].steps
    row, common = (x.row + y.row) / 2, (x.value + y.value) / 2
    if not adjusted:
        return replace(estimate(deciding.fit, row), value=common)
    beyond = (1 + common) / (1 + z.steps.value) - 1
    return replace(estimate(deciding.fit, row - z.steps.row), value=beyond)


def _apart(deciding: Deciding, axes: Mapping[str, AxisParts]) -> float | None:
    """By what X and Y differ, where that is more than the readings' doubt and the tolerance."""
    half = estimate(deciding.fit, (axes["X"].steps.row - axes["Y"].steps.row) / 2)
    limit = max(coverage_factor(half.dof) * half.u, deciding.tolerance.scale)
    return 2 * half.value if abs(half.value) > limit else None


def _to_inspect(judged: Judgement, reason: str) -> Judgement:
    """The same with the hands first; a contradiction among readings still goes before."""
    if judged.verdict == "inspect":
        return judged
    return replace(judged, verdict="inspect", provisional=False, reason=reason)


def _reach_mm(deciding: Deciding) -> float:
    """How far off the middle the piece was read: half its longest length in the plane."""
    places = deciding.fit.places
    flat = places.nominal_mm[np.abs(places.direction[:, 2]) < 0.5]
    return float(np.max(flat)) / 2 if flat.size else REACH_MM
