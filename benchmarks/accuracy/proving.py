"""The second piece: predicted after the change, printed, read and judged, as an evening goes.

The change is the solver's own proposal; a second run has a change that did not arrive on X.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from benchmarks.accuracy.experiment import Numbers
from benchmarks.accuracy.machine import Hidden, Machine, Rows, Shape
from benchmarks.accuracy.spans import CALIPER, STEPS, solve

from asleft.measure import predict_span, prove_span


@dataclass(frozen=True)
class Spot:
    """A place with its label, as the prediction wants it."""

    label: str
    direction: str
    faces: str
    nominal_mm: float


@dataclass(frozen=True)
class SecondPiece:
    """`missing` is the share by which steps of X were changed otherwise than was said."""

    name: str
    shape: Shape = field(default_factory=lambda: Shape(n=2))
    missing: float = 0.0

    def one(self, rng: np.random.Generator) -> Numbers:
        """Places inside their interval, χ²'s p, and whether the proof holds."""
        machine, rows = Machine(rng, Hidden(face=0.02)), Rows.of(self.shape)
        first = machine.read(rows)
        proposals = solve(first).proposals
        after = {p.axis: p.proposed or 0.0 for p in proposals if p.setting == "steps_per_mm"}
        skew = {p.axis: p.proposed or 0.0 for p in proposals if p.setting == "skew"}
        prediction = predict_span(
            first,
            [Spot(label, d, f, length) for d, f, length, label in self.shape.places()],
            instrument=CALIPER,
            steps_before=STEPS,
            steps_after=after,
            skew_before={"XY": 0.0},
            skew_after=skew,
        )
        change = np.diag([after[a] / STEPS[a] for a in "XYZ"])
        change[0, 0] *= 1 + self.missing
        taken = np.eye(3)
        taken[0, 1] = -skew["XY"]  # the controller moves X to x − k·y
        proof = prove_span(prediction, machine.read(rows, change @ taken))
        return {
            "inside": proof.inside / proof.dof,
            "below 0.01": float(proof.p < 0.01),
            "below 0.05": float(proof.p < 0.05),
            "below 0.5": float(proof.p < 0.5),
            "holds": float(proof.holds),
        }


def cases() -> tuple[SecondPiece, ...]:
    """As proposed, and with X 0.2 % away from what was said."""
    return (
        SecondPiece("second piece as changed"),
        SecondPiece("second piece, X 0.2 % otherwise", missing=0.002),
    )
