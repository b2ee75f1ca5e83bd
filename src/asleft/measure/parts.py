"""From printed scale to motion and shrinkage: who gets what of the error.

Span alone knows the printed scale S only. A stated shrinkage or the drive's geometry parts it
into motion s, which steps can mend, and shrinkage h, which belongs to the making; else the
person chooses. Algebra on estimates; no reading is seen here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from asleft.measure.design import AXES
from asleft.measure.linear import Array
from asleft.measure.span_fit import SpanFit

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
    """All axes that were read, the shrinkage (value, u) for the making, and how it is known."""

    axes: tuple[AxisParts, ...]
    shrinkage: tuple[float, float] | None
    how: str


@dataclass(frozen=True)
class Wishes:
    """What the person states beside the readings. See `solve_span` for each."""

    in_force: Mapping[str, float]
    shrinkage: float | None = None
    shrinkage_u: float | None = None
    shrinkage_to: str = "steps"
    drive: str = "cartesian"
    geometry: Mapping[str, float] | None = None


def estimate(fit: SpanFit, row: Array) -> Estimate:
    """The combination `row · theta` of a fit."""
    return Estimate(*fit.estimate(row), row)


def part(fit: SpanFit, wishes: Wishes) -> Parts:
    """Part printed scale into what steps take and what the making takes."""
    rows = {a: fit.contrast(**{f"scale_{a}": 1.0}) for a in AXES if fit.has(f"scale_{a}")}
    printed = {a: estimate(fit, row) for a, row in rows.items()}
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
    return Parts(tuple(axes), (h, u_h), "stated")


def _from_geometry(printed: Mapping[str, Estimate], wishes: Wishes) -> Parts | None:
    """Motion from the drive's design, shrinkage as the common rest of X and Y."""
    geometry = wishes.geometry or {}
    known = [a for a in ("X", "Y") if a in printed and a in geometry and a in wishes.in_force]
    if not known:
        return None
    moved = {a: wishes.in_force[a] / geometry[a] - 1 for a in known}
    h = sum((1 + printed[a].value) / (1 + moved[a]) - 1 for a in known) / len(known)
    u_read = math.sqrt(sum(printed[a].u ** 2 for a in known)) / len(known)
    u_h = math.hypot(u_read, GEOMETRY_U / math.sqrt(len(known)))
    axes = []
    for axis, p in printed.items():
        s = (1 + p.value) / (1 + h) - 1
        steps = Estimate(s, p.u, p.dof, p.row)
        axes.append(AxisParts(axis, p, steps, (s, math.hypot(p.u, u_h))))
    return Parts(tuple(axes), (h, u_h), "from the drive's geometry")


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
