"""The traverse: the carriage against an instrument, without plastic. Scale, reversal, ISO figures.

Puts the positions of each axis into quantities, a proposal for steps per mm and a budget. The
figures of ISO 230-2 are in `traverse_iso`, the straight line in `traverse_line`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from asleft.measure.chance import coverage_factor
from asleft.measure.instrument import Instrument
from asleft.measure.readings import TraverseReading
from asleft.measure.result import BudgetLine, Proposal, Quantity, SetAside, Solution
from asleft.measure.tolerance import Tolerance
from asleft.measure.traverse_iso import Approached, figures, interval, mean_reversal
from asleft.measure.traverse_line import LENGTH_LEAST_MM, AxisRun, Line, axis_runs, fit_line
from asleft.measure.verdict import Evidence, judge

PLAUSIBLE = 0.03  # a belt or screw further off than this is not what it was taken for
SLACK_MM = 0.15  # more lost motion than this is for the hands, not for numbers; a guess, ours
CROOKED_MM = 0.15  # no belt or screw is that far off a straight line; a guess, ours
ONE_CYCLE = "every target needs two approaches or more from either side"
AN_EXTREME = "the largest of several; the interval holds at all targets at once"
ONE_SIDE = "the targets were not all approached from both sides"


def solve_traverse(
    readings: Sequence[TraverseReading],
    *,
    instrument: Instrument,
    in_force: Mapping[str, float],
    tolerance: Tolerance = Tolerance(),  # noqa: B008 - frozen
) -> Solution:
    """Estimate motion scale, reversal, repeatability and accuracy of each axis.

    Args:
        readings: positions of one or more axes, mm; skew correction off while moving.
        instrument: what read them. Its scale bounds what is known of motion scale.
        in_force: steps per mm by axis; a missing axis is unknown.

    Returns:
        For each axis `motion_scale` (relative), `reversal` (largest |B_i|), `reversal_mean`,
        `repeatability`, `accuracy`, `systematic`, `mean_deviation` in mm (see
        `traverse_iso.figures`), and a proposal for steps per mm.

    Raises:
        InputError: no readings, one target only, or positions that are impossible.
    """
    runs = axis_runs(readings)
    quantities: list[Quantity] = []
    proposals: list[Proposal] = []
    budget: list[BudgetLine] = []
    warnings: list[str] = []
    for run in runs:
        line = fit_line(run, instrument)
        quantities += _quantities(run, line, instrument)
        proposals.append(_proposal(run, line, instrument, in_force.get(run.axis), tolerance))
        budget += _budget(run.axis, line)
        warnings += _warnings(run, line, instrument, tolerance)
    aside = tuple(sorted((a for run in runs for a in run.set_aside), key=_by_row))
    return Solution("traverse", (*quantities,), (*proposals,), (*budget,), aside, (*warnings,))


def motion_as_read(
    readings: Sequence[TraverseReading], *, instrument: Instrument
) -> dict[str, tuple[float, float]]:
    """Motion scale as the instrument shows it, for `solve_span(motion=…)` with the same caliper.

    Returns:
        By axis (value, standard uncertainty), relative, the instrument's own scale error neither
        taken off nor counted: it is the same in the span trial and cancels in the shrinkage.

    Raises:
        InputError: as `solve_traverse`.
    """
    found = {}
    for run in axis_runs(readings):
        line = fit_line(run, instrument)
        if line.read_u is not None:
            found[run.axis] = (line.slope, line.read_u)
    return found


def _by_row(aside: SetAside) -> int:
    return aside.row


def _quantities(run: AxisRun, line: Line, instrument: Instrument) -> list[Quantity]:
    value, u = line.scale, line.u
    if u is None:
        found = [Quantity("motion_scale", value, None, None, None, "1", run.axis, None, line.why)]
    else:
        low, high = interval(value, u, line.dof)
        found = [Quantity("motion_scale", value, u, low, high, "1", run.axis)]
    if not run.both_sides:
        return [
            *found,
            Quantity("reversal", None, None, None, None, "mm", run.axis, None, ONE_SIDE),
        ]
    up, down = Approached.of(run.up), Approached.of(run.down)
    floor = instrument.rounding_sd_mm
    found.append(_mean_reversal(run.axis, up, down, floor))
    # The instrument's own scale error stretches what is a distance along the axis.
    stretch = 2 * instrument.own_scale()[1] * run.length_mm
    known = figures(up, down, floor)
    for name, figure in known.items():
        doubt = stretch if name.startswith(("acc", "sys", "mean")) else 0.0
        low_mm, high_mm = figure.low_mm, figure.high_mm
        if low_mm is not None and high_mm is not None:
            low_mm, high_mm = max(low_mm - doubt, 0.0), high_mm + doubt
        why = AN_EXTREME if low_mm is not None else ONE_CYCLE
        found.append(
            Quantity(name, figure.value_mm, None, low_mm, high_mm, "mm", run.axis, None, why)
        )
    if "repeatability" not in known:
        found += [
            Quantity(name, None, None, None, None, "mm", run.axis, None, ONE_CYCLE)
            for name in ("repeatability", "accuracy")
        ]
    return found


def _mean_reversal(axis: str, up: Approached, down: Approached, floor_mm: float) -> Quantity:
    value, u, dof = mean_reversal(up, down, floor_mm)
    if u is None:
        return Quantity("reversal_mean", value, None, None, None, "mm", axis, None, ONE_CYCLE)
    return Quantity("reversal_mean", value, u, *interval(value, u, dof), "mm", axis)


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


def _proposal(
    run: AxisRun, line: Line, instrument: Instrument, in_force: float | None, tolerance: Tolerance
) -> Proposal:
    proposed = None if in_force is None else in_force / (1 + line.scale)
    trouble = _trouble(run, line)
    if line.u is None:
        word = "inspect" if trouble else "measure_more"
        return Proposal(
            "steps_per_mm", run.axis, "controller", in_force, proposed, None,
            "inspect" if word == "inspect" else "measure_more", False, None, None,
            trouble or line.why or "",
        )  # fmt: skip
    lines = _budget(run.axis, line)
    judged = judge(
        Evidence(
            error=line.scale,
            u=line.u,
            dof=line.dof,
            tolerance=tolerance.scale,
            u_readings=line.scatter_u,
            readings=run.readings,
            largest=f"the {lines[0].input}",
            remedy=_remedy(instrument, tolerance),
            plausible=PLAUSIBLE,
            trouble=trouble,
        )
    )
    reason = judged.reason
    if in_force is None:
        reason += "; steps per mm in force are unknown, so no value is proposed"
    return Proposal(
        setting="steps_per_mm",
        axis=run.axis,
        place="controller",
        in_force=in_force,
        proposed=proposed,
        u=None if proposed is None else proposed * line.u / (1 + line.scale),
        verdict=judged.verdict,
        provisional=judged.provisional,
        p_within_tolerance=judged.p_now,
        p_after=judged.p_after,
        reason=reason,
    )


def _remedy(instrument: Instrument, tolerance: Tolerance) -> str:
    if _blind(instrument, tolerance):
        return f"use a caliper with {LENGTH_LEAST_MM:g} mm of reach or more"
    return "travel further, or check the instrument on a known length"


def _blind(instrument: Instrument, tolerance: Tolerance) -> bool:
    """Whether the instrument's own scale is known too poorly for any verdict but a coarse one."""
    return coverage_factor(float("inf")) * instrument.own_scale()[1] > tolerance.scale


def _budget(axis: str, line: Line) -> list[BudgetLine]:
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


def _warnings(run: AxisRun, line: Line, instrument: Instrument, tolerance: Tolerance) -> list[str]:
    said = []
    if _blind(instrument, tolerance):
        u95 = coverage_factor(float("inf")) * instrument.own_scale()[1]
        said.append(
            f"{run.axis}: this instrument knows its own scale to ± {u95:.2%} only, so it cannot "
            "know the scale of the motion; reversal and repeatability are not touched by that"
        )
    if run.length_mm > instrument.reach_mm:
        said.append(
            f"{run.axis}: {run.length_mm:g} mm of travel are beyond the instrument's reach of "
            f"{instrument.reach_mm:g} mm"
        )
    if len(run.targets) < 5 or run.readings < 5 * 2 * len(run.targets):
        said.append(
            f"{run.axis}: ISO 230-2 asks for five targets or more and five cycles; repeatability "
            "and accuracy of fewer are for comparison at home only"
        )
    if line.u is not None and len(run.targets) == 2:
        said.append(f"{run.axis}: two targets cannot show whether the motion is straight")
    return said
