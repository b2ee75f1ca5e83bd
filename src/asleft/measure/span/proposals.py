"""Which settings a span trial proposes to change: steps per mm, arms, skew, and the making.

Each proposal gets its evidence from the fit and its verdict from `verdict`. A change of steps
belongs to the controller; growth and shrinkage belong to the making.
"""

from __future__ import annotations

from collections.abc import Mapping

from asleft.measure.result import Proposal
from asleft.measure.span.coupled import common_belts, towers
from asleft.measure.span.deciding import Deciding, steps_alone
from asleft.measure.span.design import PLANES
from asleft.measure.span.parts import AxisParts, estimate
from asleft.measure.verdict import Evidence, Judgement, judge, proposal_of

PLAUSIBLE_SHEAR = 0.03


def propose(deciding: Deciding) -> tuple[Proposal, ...]:
    """All proposals: steps by axis, skew by plane, growth and shrinkage for the making."""
    axes = {a.axis: a for a in deciding.parts.axes}
    if deciding.wishes.drive == "crossed-belt" and {"X", "Y"} <= set(axes):
        found = common_belts(deciding, axes)
    elif deciding.wishes.drive == "delta" and {"X", "Y"} <= set(axes):
        found = towers(deciding, axes)
    else:
        found = [steps_alone(deciding, a) for a in axes.values()]
    found += [_skew(deciding, p, axes) for p in PLANES if deciding.fit.has(f"shear_{p}")]
    return (*found, *_making(deciding))


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
    return proposal_of(
        judged,
        setting="skew",
        axis=plane,
        place="controller",
        in_force=in_force,
        proposed=proposed,
        u=None if proposed is None else found.u,
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
    return proposal_of(
        judged,
        setting=setting,
        axis="XY" if setting == "growth" else "XYZ",
        place="making",
        in_force=None,
        proposed=value,
        u=u,
        reason=f"{reason}; what the profile already takes off is not known here",
    )
