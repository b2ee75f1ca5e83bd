"""Which steps per mm a traverse proposes to change, and why not.

One proposal an axis; drives whose motors share axes get one common change. The line of each axis
comes from `traverse_line`, the rule of decision from `verdict`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from asleft.measure.chance import coverage_factor
from asleft.measure.instrument import Instrument
from asleft.measure.result import BudgetLine, Proposal
from asleft.measure.tolerance import Tolerance
from asleft.measure.traverse.iso import Approached
from asleft.measure.traverse.line import LENGTH_LEAST_MM, AxisRun, Line
from asleft.measure.verdict import Evidence, judge, proposal_of

PLAUSIBLE = 0.03  # a belt or screw further off than this is not what it was taken for
SLACK_MM = 0.15  # more lost motion than this is for the hands, not for numbers; a guess, ours
CROOKED_MM = 0.15  # no belt or screw is that far off a straight line; a guess, ours
TOWERS = "X and Y of a delta are arm length and radius, not steps: traverse Z"
Drive = Literal["cartesian", "crossed-belt", "delta"]


@dataclass(frozen=True)
class Wanted:
    """What decides beside the readings: steps in force by axis, drive, tolerances, instrument."""

    in_force: Mapping[str, float]
    drive: Drive
    tolerance: Tolerance
    instrument: Instrument


def propose_steps(
    runs: Sequence[AxisRun], lines: Sequence[Line], wanted: Wanted
) -> tuple[Proposal, ...]:
    """One proposal an axis, in the order of the runs."""
    by_axis = {run.axis: (run, line) for run, line in zip(runs, lines, strict=True)}
    together = {"X", "Y"} <= set(by_axis)
    found = []
    for run, line in by_axis.values():
        if wanted.drive == "crossed-belt" and together and run.axis in "XY":
            common = _common(by_axis["X"][1], by_axis["Y"][1])
            other = by_axis["Y" if run.axis == "X" else "X"]
            trouble = _trouble(run, line) or _trouble(*other) or _apart(by_axis, wanted)
            found.append(_proposal(run, common, trouble, wanted))
        elif wanted.drive == "delta" and run.axis in "XY":
            found.append(_of_delta(run, by_axis.get("Z"), wanted))
        else:
            found.append(_proposal(run, line, _trouble(run, line), wanted))
    return tuple(found)


def _common(x: Line, y: Line) -> Line:
    """Both motors move X and Y: one change for both. The instrument's own scale is shared."""
    scatter = math.hypot(x.scatter_u, y.scatter_u) / 2
    u = math.hypot(scatter, x.own_u, x.along_u)
    return replace(
        x,
        scale=(x.scale + y.scale) / 2,
        u=None if x.u is None or y.u is None else u,
        dof=min(x.dof, y.dof),
        scatter_u=scatter,
        position_sd_mm=max(x.position_sd_mm, y.position_sd_mm),
        why=x.why or y.why,
    )


def _apart(by_axis: Mapping[str, tuple[AxisRun, Line]], wanted: Wanted) -> str | None:
    x, y = by_axis["X"][1], by_axis["Y"][1]
    by = x.scale - y.scale
    u = math.hypot(x.scatter_u, y.scatter_u, x.along_u, y.along_u)
    if abs(by) <= max(coverage_factor(min(x.dof, y.dof)) * u, 2 * wanted.tolerance.scale):
        return None
    return (
        f"X and Y differ by {by:+.2%}, which steps common to both belts cannot mend: look at the "
        "frame, the belt paths and the gantry"
    )


def _of_delta(run: AxisRun, z: tuple[AxisRun, Line] | None, wanted: Wanted) -> Proposal:
    """Steps of a delta scale all axes alike, and only Z shows them alone."""
    if z is not None:
        return _proposal(run, z[1], _trouble(run, z[1]), wanted)
    in_force = wanted.in_force.get(run.axis)
    return Proposal(
        "steps_per_mm", run.axis, "controller", in_force, None, None, "measure_more", False, None,
        None, TOWERS,
    )  # fmt: skip


def _trouble(run: AxisRun, line: Line) -> str | None:
    """What no steps per mm can mend."""
    if run.contradiction:
        return run.contradiction
    if run.both_sides:
        slack = float(max(abs(Approached.of(run.up).mean_mm - Approached.of(run.down).mean_mm)))
        if slack > SLACK_MM:
            return (
                f"{slack:.2f} mm are lost on reversal: look at the belt, its pulley's screw, nuts"
            )
    if line.worst_mm > CROOKED_MM:
        return (
            f"the position at {line.worst_at_mm:g} mm lies {line.worst_mm:.2f} mm off a straight "
            "line: measure it again; if it stays, look for lost steps or a loose pulley"
        )
    return None


def _proposal(run: AxisRun, line: Line, trouble: str | None, wanted: Wanted) -> Proposal:
    in_force, tolerance = wanted.in_force.get(run.axis), wanted.tolerance
    proposed = None if in_force is None else in_force / (1 + line.scale)
    if line.u is None:
        word = "inspect" if trouble else "measure_more"
        return Proposal(
            "steps_per_mm", run.axis, "controller", in_force, proposed, None,
            "inspect" if word == "inspect" else "measure_more", False, None, None,
            trouble or line.why or "",
        )  # fmt: skip
    lines = line_budget(run.axis, line)
    judged = judge(
        Evidence(
            error=line.scale,
            u=line.u,
            dof=line.dof,
            tolerance=tolerance.scale,
            u_readings=line.scatter_u,
            readings=run.readings,
            largest=f"the {lines[0].input}",
            remedy=_remedy(wanted.instrument, tolerance),
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
        axis=run.axis,
        place="controller",
        in_force=in_force,
        proposed=proposed,
        u=None if proposed is None else proposed * line.u / (1 + line.scale),
        reason=reason,
    )


def _remedy(instrument: Instrument, tolerance: Tolerance) -> str:
    if blind(instrument, tolerance):
        return f"use a caliper with {LENGTH_LEAST_MM:g} mm of reach or more"
    return "travel further, or check the instrument on a known length"


def blind(instrument: Instrument, tolerance: Tolerance) -> bool:
    """Whether the instrument's own scale is known too poorly for any verdict but a coarse one."""
    return coverage_factor(float("inf")) * instrument.own_scale()[1] > tolerance.scale


def line_budget(axis: str, line: Line) -> list[BudgetLine]:
    """The inputs of one axis's motion scale, largest first."""
    if line.u is None:
        return []
    name = f"motion_scale {axis}"
    lines = [
        BudgetLine(name, "scatter of the positions", "A", line.position_sd_mm,
                   line.scatter_u / line.position_sd_mm, line.scatter_u),
        BudgetLine(name, "scale of the instrument", "B", line.own_u, -1.0, line.own_u),
        BudgetLine(name, "instrument not along the axis", "B", line.along_u, 1.0, line.along_u),
    ]  # fmt: skip
    return sorted(lines, key=lambda each: -each.contribution)
