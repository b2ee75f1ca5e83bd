"""The traverse: the carriage against an instrument, without plastic. Scale, reversal, ISO figures.

Puts the positions of each axis into quantities, a proposal for steps per mm and a budget. The
figures of ISO 230-2 are in `traverse_iso`, the straight line in `traverse_line`, the proposals in
`traverse_steps`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from asleft.measure.chance import coverage_factor
from asleft.measure.instrument import Instrument
from asleft.measure.readings import TraverseReading
from asleft.measure.result import BudgetLine, Quantity, SetAside, Solution
from asleft.measure.tolerance import Tolerance
from asleft.measure.traverse.iso import Approached, figures, interval, mean_reversal
from asleft.measure.traverse.line import AxisRun, Line, axis_runs, fit_line
from asleft.measure.traverse.steps import Drive, Wanted, blind, line_budget, propose_steps

ONE_CYCLE = "every target needs two approaches or more from either side"
AN_EXTREME = "the largest of several; the interval holds at all targets at once"
ONE_SIDE = "the targets were not all approached from both sides"


def solve_traverse(
    readings: Sequence[TraverseReading],
    *,
    instrument: Instrument,
    in_force: Mapping[str, float],
    drive: Drive = "cartesian",
    tolerance: Tolerance = Tolerance(),  # noqa: B008 - frozen
) -> Solution:
    """Estimate motion scale, reversal, repeatability and accuracy of each axis.

    Args:
        readings: positions of one or more axes, mm; skew correction off while moving.
        instrument: what read them. Its scale bounds what is known of motion scale.
        in_force: steps per mm by axis; a missing axis is unknown.
        drive: `crossed-belt` gets one common change for X and Y, a `delta` the change of Z.

    Returns:
        For each axis `motion_scale` (relative), `reversal` (largest |B_i|), `reversal_mean`,
        `repeatability`, `accuracy`, `systematic`, `mean_deviation` in mm (see
        `traverse_iso.figures`), and a proposal for steps per mm.

    Raises:
        InputError: no readings, one target only, or positions that are impossible.
    """
    runs = axis_runs(readings)
    lines = [fit_line(run, instrument) for run in runs]
    quantities: list[Quantity] = []
    budget: list[BudgetLine] = []
    warnings: list[str] = []
    for run, line in zip(runs, lines, strict=True):
        quantities += _quantities(run, line, instrument)
        budget += line_budget(run.axis, line)
        warnings += _warnings(run, line, instrument, tolerance)
    proposals = propose_steps(runs, lines, Wanted(in_force, drive, tolerance, instrument))
    aside = tuple(sorted((a for run in runs for a in run.set_aside), key=_by_row))
    return Solution("traverse", (*quantities,), proposals, (*budget,), aside, (*warnings,))


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


def _warnings(run: AxisRun, line: Line, instrument: Instrument, tolerance: Tolerance) -> list[str]:
    said = []
    if blind(instrument, tolerance):
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
