"""From printed scale to motion and shrinkage: who gets what of the error.

Span alone knows the printed scale S only. A traverse, a stated shrinkage or the drive's geometry
parts it into motion s, which steps can mend, and shrinkage h, which belongs to the making; else
the person chooses. Algebra on estimates; no reading is seen here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from asleft.errors import InputError
from asleft.measure.linear import Array
from asleft.measure.result import BudgetLine
from asleft.measure.span.design import AXES
from asleft.measure.span.fit import SpanFit

GEOMETRY_U = 0.0005  # pitch of a real belt or screw against its drawing; a guess, ours
SHRINKAGE_U = 0.001  # of a shrinkage stated without its uncertainty; a guess, ours


@dataclass(frozen=True)
class Estimate:
    """A value with standard uncertainty and degrees of freedom; `row` made it from the fit."""

    value: float
    u: float
    dof: float
    row: Array


@dataclass(frozen=True)
class AxisParts:
    """One axis: printed scale, what steps are to take, motion scale where it is known."""

    axis: str
    printed: Estimate
    steps: Estimate
    motion: tuple[float, float] | None


@dataclass(frozen=True)
class Parts:
    """All axes that were read, the shrinkage (value, u) for the making, and how it is known.

    `budget` has the lines of the shrinkage, largest first.
    """

    axes: tuple[AxisParts, ...]
    shrinkage: tuple[float, float] | None
    how: str
    budget: tuple[BudgetLine, ...] = ()


@dataclass(frozen=True)
class Wishes:
    """What the person states beside the readings. See `solve_span` for each."""

    in_force: Mapping[str, float]
    shrinkage: float | None = None
    shrinkage_u: float | None = None
    shrinkage_to: str = "steps"
    drive: str = "cartesian"
    geometry: Mapping[str, float] | None = None
    motion: Mapping[str, tuple[float, float]] | None = None
    arms: Mapping[str, float] | None = None


def estimate(fit: SpanFit, row: Array) -> Estimate:
    """The combination `row · theta` of a fit."""
    return Estimate(*fit.estimate(row), row)


def part(fit: SpanFit, wishes: Wishes) -> Parts:
    """Part printed scale into what steps take and what the making takes."""
    rows = {a: fit.contrast(**{f"scale_{a}": 1.0}) for a in AXES if fit.has(f"scale_{a}")}
    printed = {a: estimate(fit, row) for a, row in rows.items()}
    traversed = _from_traverse(fit, rows, printed, wishes.motion or {})
    if traversed is not None:
        return traversed
    if wishes.shrinkage is not None:
        return _stated(printed, wishes)
    geometry = _from_geometry(printed, wishes)
    if geometry is not None:
        return geometry
    if wishes.shrinkage_to == "making" and {"X", "Y"} <= set(rows):
        return _common_to_making(fit, rows, printed)
    alone = tuple(AxisParts(a, p, p, None) for a, p in printed.items())
    return Parts(alone, None, "")


def _stated(printed: Mapping[str, Estimate], wishes: Wishes) -> Parts:
    """A stated h is taken out by the making exactly, so its doubt is not in the steps' verdict.

    What steps leave is (1+S)/(1+h) − 1 on the parts whatever h is in truth; only the motion
    scale, as a fact about the machine, carries the doubt about h.
    """
    h = float(wishes.shrinkage or 0.0)
    u_h = SHRINKAGE_U if wishes.shrinkage_u is None else wishes.shrinkage_u
    axes = []
    for axis, p in printed.items():
        s = (1 + p.value) / (1 + h) - 1
        steps = Estimate(s, p.u / (1 + h), p.dof, p.row)
        axes.append(AxisParts(axis, p, steps, (s, math.hypot(p.u, u_h))))
    return Parts(tuple(axes), (h, u_h), "stated", _lines(("shrinkage as stated", "B", u_h)))


def check_motion(motion: Mapping[str, tuple[float, float]]) -> None:
    """Refuse motion scales that cannot be.

    Raises:
        InputError: naming the axis.
    """
    for axis, (value, u) in motion.items():
        if axis not in AXES or not -0.2 < value < 0.2 or not 0 < u < 0.2:
            raise InputError(
                f"a motion scale of {value:+.2%} with u {u:.2%} is impossible",
                hint="Give relative errors of X, Y or Z as a traverse finds them.",
                where=axis,
            )


def _from_traverse(
    fit: SpanFit,
    rows: Mapping[str, Array],
    printed: Mapping[str, Estimate],
    motion: Mapping[str, tuple[float, float]],
) -> Parts | None:
    """Motion from a traverse read with the same caliper, shrinkage as the rest of X and Y.

    Both are compared as read, so that the caliper's own scale error cancels in h; it stays in
    the motion scale as a fact about the machine.
    """
    known = [a for a in ("X", "Y") if a in rows and a in motion]
    if not known:
        return None
    own, own_u, _ = fit.estimate(fit.contrast(caliper_scale=1.0))
    as_read = {a: rows[a] + fit.contrast(caliper_scale=1.0) for a in known}
    ratios = [(1 + fit.estimate(as_read[a])[0]) / (1 + motion[a][0]) for a in known]
    h = sum(ratios) / len(known) - 1
    u_print = fit.estimate(np.mean([as_read[a] for a in known], axis=0))[1]
    u_move = math.sqrt(sum(motion[a][1] ** 2 for a in known)) / len(known)
    axes = []
    for axis, p in printed.items():
        # The making takes h exactly as it is told, so h's doubt is not in the steps' verdict.
        steps = Estimate((1 + p.value) / (1 + h) - 1, p.u / (1 + h), p.dof, p.row)
        found = (
            (motion[axis][0] - own, math.hypot(motion[axis][1], own_u)) if axis in motion else None
        )
        axes.append(AxisParts(axis, p, steps, found))
    lines = _lines(("printed scale, as read", "A", u_print), ("motion, as read", "A", u_move))
    return Parts(tuple(axes), (h, math.hypot(u_print, u_move)), "from a traverse", lines)


def _lines(*inputs: tuple[str, Literal["A", "B"], float]) -> tuple[BudgetLine, ...]:
    """Budget lines of the shrinkage, sensitivity 1, largest first."""
    lines = [BudgetLine("shrinkage", name, kind, u, 1.0, u) for name, kind, u in inputs]
    return tuple(sorted(lines, key=lambda line: -line.contribution))


def _from_geometry(printed: Mapping[str, Estimate], wishes: Wishes) -> Parts | None:
    """Motion from the drive's design, shrinkage as the common rest of X and Y."""
    geometry = wishes.geometry or {}
    known = [a for a in ("X", "Y") if a in printed and a in geometry and a in wishes.in_force]
    if not known:
        return None
    moved = {a: wishes.in_force[a] / geometry[a] - 1 for a in known}
    h = sum((1 + printed[a].value) / (1 + moved[a]) - 1 for a in known) / len(known)
    u_read = math.sqrt(sum(printed[a].u ** 2 for a in known)) / len(known)
    u_design = GEOMETRY_U / math.sqrt(len(known))
    u_h = math.hypot(u_read, u_design)
    lines = _lines(("printed scale", "A", u_read), ("the drive against its design", "B", u_design))
    axes = []
    for axis, p in printed.items():
        s = (1 + p.value) / (1 + h) - 1
        steps = Estimate(s, p.u, p.dof, p.row)
        axes.append(AxisParts(axis, p, steps, (s, math.hypot(p.u, u_h))))
    return Parts(tuple(axes), (h, u_h), "from the drive's geometry", lines)


def _common_to_making(
    fit: SpanFit, rows: Mapping[str, Array], printed: Mapping[str, Estimate]
) -> Parts:
    """Hands off the common part of X and Y: steps take only what differs from it."""
    common = (rows["X"] + rows["Y"]) / 2
    h = estimate(fit, common)
    axes = []
    for axis, p in printed.items():
        rest = estimate(fit, rows[axis] - common)
        steps = Estimate((1 + p.value) / (1 + h.value) - 1, rest.u, rest.dof, rest.row)
        axes.append(AxisParts(axis, p, steps, None))
    return Parts(tuple(axes), (h.value, h.u), "the common part of X and Y, by choice")
