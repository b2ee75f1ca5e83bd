"""Coverage of the other trials: motion by traverse, flow and growth by bead, clearance by fit.

Truths and scatter are drawn here, type-B inputs normal with the spread that the solvers state;
nothing is shared with the solvers.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from benchmarks.accuracy.experiment import Numbers

from asleft.measure import (
    BeadReading,
    FitReading,
    Instrument,
    TraverseReading,
    solve_bead,
    solve_fit,
    solve_traverse,
)
from asleft.measure.result import Solution

TARGETS_MM = (0.0, 30.0, 60.0, 90.0, 120.0, 150.0)
LAYER_MM, WIDTHS_MM = 0.2, (0.45, 0.6, 0.8)
TYPICAL_MM, LOG_SD = 0.02, 0.7  # what the solver takes for the scatter of bores
TRIED_MM = tuple(round(0.05 * k, 2) for k in range(-2, 11))


@dataclass(frozen=True)
class Traversed:
    """One axis to six targets from both sides; `position_mm` scatters from target to target."""

    name: str
    cycles: int = 3
    noise_mm: float = 0.01
    position_mm: float = 0.015
    times: float = 0.5

    def one(self, rng: np.random.Generator) -> Numbers:
        """Error, u and hit of the motion scale."""
        caliper = Instrument()
        scale, lost = float(rng.normal(0, 0.004)), float(abs(rng.normal(0, 0.05)))
        own = 1 + rng.normal(0, caliper.scale_sd)
        along = math.cos(math.radians(float(rng.normal(0, 0.5))))
        screw = rng.normal(0, self.position_mm, len(TARGETS_MM))
        readings = []
        for cycle in range(self.cycles):
            for approach in "+-":
                for k, target in enumerate(TARGETS_MM):
                    true = target * (1 + scale) + screw[k] - (lost if approach == "+" else 0.0)
                    read = 2.0 + true * own * along + rng.normal(0, self.noise_mm)
                    shown = round(read / caliper.resolution_mm) * caliper.resolution_mm
                    readings.append(
                        TraverseReading("X", target, approach, shown, cycle)  # type: ignore[arg-type]
                    )
        found = solve_traverse(readings, instrument=caliper, in_force={"X": 80.0})
        return _compared(found, {"motion_scale": scale})


@dataclass(frozen=True)
class Beaded:
    """Walls of three drawn widths, `n` readings each, about flow, bead shape and jaws."""

    name: str
    n: int = 6
    noise_mm: float = 0.02
    times: float = 0.5

    def one(self, rng: np.random.Generator) -> Numbers:
        """Errors, u and hits of flow and growth."""
        caliper = Instrument()
        flow, growth = 1 + float(rng.normal(0, 0.05)), float(rng.normal(0, 0.05))
        zero = rng.normal(0, caliper.outside_zero_sd_mm)
        bulge = LAYER_MM * (1 - math.pi / 4)
        readings = []
        for width in np.repeat(WIDTHS_MM, self.n).tolist():
            read = flow * (width - bulge) + bulge + growth + zero + rng.normal(0, self.noise_mm)
            shown = round(read / caliper.resolution_mm) * caliper.resolution_mm
            readings.append(BeadReading(width, shown))
        found = solve_bead(readings, instrument=caliper, in_force=1.0)
        return _compared(found, {"flow": flow, "growth": growth})


@dataclass(frozen=True)
class Fitted:
    """A shaft tried once or more in bores by steps of 0.05 mm; every bore scatters.

    `scatter_mm` None: drawn anew for every machine, log-normal as the solver takes it.
    """

    name: str
    rounds: int = 1
    scatter_mm: float | None = 0.02
    times: float = 0.5
    reported_only: bool = False

    def one(self, rng: np.random.Generator) -> Numbers:
        """Error, u and hit of the clearance where it begins to turn."""
        turns = float(rng.uniform(0.05, 0.30))
        loose = turns + float(rng.uniform(0.05, 0.30))
        scatter = self.scatter_mm or TYPICAL_MM * math.exp(float(rng.normal(0, LOG_SD)))
        readings = []
        for more in TRIED_MM * self.rounds:
            feels = more + rng.normal(0, scatter)
            outcome = "refuses" if feels < turns else "turns" if feels < loose else "loose"
            readings.append(FitReading(8.0 + more, 8.0, outcome))  # type: ignore[arg-type]
        return _compared(solve_fit(readings, part="hole"), {"clearance": turns})


def _compared(found: Solution, truths: dict[str, float]) -> Numbers:
    """Columns `error`, `u`, `hit` of every quantity that was answered; `none` where it was not."""
    numbers: dict[str, float] = {}
    for q in found.quantities:
        if q.name not in truths:
            continue
        answered = q.value is not None and q.low95 is not None and q.high95 is not None
        numbers[f"none {q.name}"] = float(not answered)
        if answered:
            assert q.value is not None and q.low95 is not None and q.high95 is not None
            numbers[f"error {q.name}"] = q.value - truths[q.name]
            numbers[f"u {q.name}"] = q.u if q.u is not None else math.nan
            numbers[f"hit {q.name}"] = float(q.low95 <= truths[q.name] <= q.high95)
    return numbers


Other = Traversed | Beaded | Fitted


def cases() -> tuple[Other, ...]:
    """All cases of the page."""
    return (
        Traversed("traverse, 3 cycles"),
        Traversed("traverse, 1 cycle", cycles=1),
        Traversed("traverse, screw error 0.03 mm", position_mm=0.03),
        Beaded("bead, 6 readings a width"),
        Beaded("bead, 3 readings a width", n=3),
        Fitted("fit, each bore once"),
        Fitted("fit, each bore twice", rounds=2),
        Fitted("fit, scatter of bores drawn anew", scatter_mm=None),
        Fitted("fit, bores scatter 0.04 mm", scatter_mm=0.04, reported_only=True),
    )


def mark(case: Other) -> str:
    """A mark behind the name of a case without an aim."""
    return " ¹" if isinstance(case, Fitted) and case.reported_only else ""
