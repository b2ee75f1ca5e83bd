"""A straight line through the positions of one axis: how far a commanded millimetre goes.

Sorts readings by axis, target and approach, sets misreads aside, and fits reading against target
with a zero of its own. Scatter from target to target (screw, pulley) counts as much as scatter
of the readings. Decides nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from asleft.errors import InputError
from asleft.measure.chance import effective_dof
from asleft.measure.instrument import Instrument
from asleft.measure.likes import off_their_like
from asleft.measure.linear import Array, least_squares
from asleft.measure.readings import TraverseReading
from asleft.measure.result import SetAside

LENGTH_LEAST_MM = 100.0
POSITION_SD_MM = 0.015  # a target off the line (screw, pulley), before any; worth one; ours
ALONG_SD_RAD = math.radians(0.5)  # how well an instrument is laid along an axis; a guess, ours


@dataclass(frozen=True)
class AxisRun:
    """One axis: targets (m,) rising, deviations by target from below (`up`) and above (`down`)."""

    axis: str
    targets: tuple[float, ...]
    up: list[Array]
    down: list[Array]
    set_aside: tuple[SetAside, ...] = ()
    contradiction: str | None = None
    readings: int = field(default=0)

    @property
    def length_mm(self) -> float:
        """Distance of the outermost targets."""
        return self.targets[-1] - self.targets[0]

    @property
    def both_sides(self) -> bool:
        """Whether every target was approached from both directions."""
        return all(g.size for g in (*self.up, *self.down))


@dataclass(frozen=True)
class Line:
    """The line of one axis. Relative, but for the lengths.

    `slope` is as read, `read_u` its u without the instrument's scale error; `scale` and `u` are
    of the machine. `scatter_u`, `own_u`, `along_u` are the parts of `u`. u None: see `why`.
    """

    slope: float
    scale: float
    read_u: float | None
    u: float | None
    dof: float
    scatter_u: float
    own_u: float
    along_u: float
    position_sd_mm: float
    worst_mm: float
    worst_at_mm: float
    why: str | None = None


def axis_runs(readings: Sequence[TraverseReading]) -> list[AxisRun]:
    """Readings sorted by axis, in the order X, Y, Z.

    Raises:
        InputError: no readings, one target only, or positions that are impossible.
    """
    if not readings:
        raise InputError("there are no readings", hint="Move the axis and measure first.")
    for row, r in enumerate(readings, start=1):
        if not (math.isfinite(r.target_mm) and math.isfinite(r.reading_mm)):
            raise InputError("a position is no number", hint="Type it again.", where=f"row {row}")
    by_axis: dict[str, list[tuple[int, TraverseReading]]] = {}
    for row, r in enumerate(readings, start=1):
        by_axis.setdefault(r.axis, []).append((row, r))
    return [_run(axis, rows) for axis, rows in sorted(by_axis.items())]


def _run(axis: str, rows: list[tuple[int, TraverseReading]]) -> AxisRun:
    targets = sorted({r.target_mm for _, r in rows})
    if len(targets) < 2:
        raise InputError(
            f"{axis} was sent to one target only",
            hint="Send it to two or more, five are better.",
            where=axis,
        )
    ends = [
        np.mean([r.reading_mm for _, r in rows if r.target_mm == t])
        for t in targets[:: len(targets) - 1]
    ]
    if ends[1] <= ends[0]:
        raise InputError(
            f"the readings of {axis} fall where its targets rise",
            hint="Write positions that grow with the target; put a minus before each reading.",
            where=axis,
        )
    groups: dict[tuple[float, str], list[tuple[int, TraverseReading]]] = {}
    for row, r in rows:
        groups.setdefault((r.target_mm, r.approach), []).append((row, r))
    like = [[(row, r.reading_mm) for row, r in rows] for rows in groups.values()]
    aside, contradiction = off_their_like(like, "target")
    gone = {a.row for a in aside}

    def deviations(approach: str) -> list[Array]:
        return [
            np.array(
                [
                    r.reading_mm - r.target_mm
                    for row, r in groups.get((t, approach), ())
                    if row not in gone
                ]
            )
            for t in targets
        ]

    up, down = deviations("+"), deviations("-")
    count = len(rows) - len(gone)
    return AxisRun(axis, tuple(targets), up, down, aside, contradiction, count)


def fit_line(run: AxisRun, instrument: Instrument) -> Line:
    """Fit the axis's positions. Targets weigh alike; each is the mean of its two directions."""
    t = np.array(run.targets)
    from_below = _shift(run)
    means = np.array(
        [
            np.mean(np.concatenate([u - from_below, d + from_below]))
            for u, d in zip(run.up, run.down, strict=True)
        ]
    )
    design = np.column_stack([np.ones(t.size), t - t.mean()])
    fit = least_squares(design, means, 1.0)
    rest = fit.residuals
    dof = t.size - 2
    pooled = (float(rest @ rest) + POSITION_SD_MM**2) / (dof + 1)
    sd = math.sqrt(max(pooled, _repeats_mm2(run), instrument.rounding_sd_mm**2))
    scatter_u = sd * math.sqrt(float(fit.covariance[1, 1]))
    slope = float(fit.values[1])
    own, own_u = instrument.own_scale()
    along_u = math.sqrt(3) / 2 * ALONG_SD_RAD**2  # rms of 1 − cos for a normal angle
    worst = int(np.argmax(np.abs(rest)))
    known = dof > 0 or any(g.size > 1 for g in (*run.up, *run.down))
    u = math.hypot(scatter_u, own_u, along_u)
    return Line(
        slope=slope,
        scale=slope - own,
        read_u=math.hypot(scatter_u, along_u) if known else None,
        u=u if known else None,
        dof=effective_dof(((scatter_u, dof + 1), (own_u, math.inf), (along_u, math.inf))),
        scatter_u=scatter_u,
        own_u=own_u,
        along_u=along_u,
        position_sd_mm=sd,
        worst_mm=abs(float(rest[worst])),
        worst_at_mm=float(t[worst]),
        why=None if known else "two positions read once tell nothing of their scatter",
    )


def _shift(run: AxisRun) -> float:
    """Half the mean reversal: a target approached from one side only counts as it should."""
    both = [
        float(np.mean(u) - np.mean(d))
        for u, d in zip(run.up, run.down, strict=True)
        if u.size and d.size
    ]
    return sum(both) / len(both) / 2 if both else 0.0


def _repeats_mm2(run: AxisRun) -> float:
    """Variance of a target's mean by the scatter of its repeats alone, mm²."""
    groups = [g for g in (*run.up, *run.down) if g.size > 1]
    dof = sum(g.size - 1 for g in groups)
    if not dof:
        return 0.0
    pooled = sum(float(np.sum((g - g.mean()) ** 2)) for g in groups) / dof
    return pooled / (run.readings / len(run.targets))
