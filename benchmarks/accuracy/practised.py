"""Pieces of the practice machine, whose effects no solver models: bias and coverage as they come.

The file of the default piece is executed once; on every machine its moves become other beads. No
wire, no clock. Each place is read once or twice by the simulated person with slips of the eye.
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from benchmarks.accuracy.experiment import Numbers
from benchmarks.accuracy.spans import STEPS, compared

from asleft.cli.practice_card import card_text
from asleft.measure import Instrument, SpanReading, solve_span
from asleft.pieces import Place, SpanPiece
from asleft.practice.board.card import print_card
from asleft.practice.body.piece import MotionErrors, printed_scale
from asleft.practice.body.track import Moves
from asleft.practice.body.truth import Truth, draw_truth
from asleft.practice.clock import Clock
from asleft.practice.person import Person, draw_caliper
from asleft.practice.printed.printing import as_printed
from asleft.practice.printed.span import PrintedSpan
from asleft.practice.words.kinds import KINDS
from asleft.practice.workshop import Workshop

KIND = KINDS["cartesian"]
MEAN_WIDTH_MM = 0.407  # of a stadium 0.45 mm wide and 0.2 mm high: its section over its height


@cache
def executed() -> Moves:
    """The default piece's file as a machine executes it whose extruder is true."""

    async def run() -> Moves:
        workshop = Workshop(seed=1, kind=KIND, clock=Clock(1000))
        workshop.board.start()
        await workshop.booted()
        workshop.board.settings.in_force["M92"]["E"] = workshop.hidden.true_steps_per_mm["E"]
        await print_card(
            workshop.board, card_text("span", SpanPiece().to_dict(), KIND.owner_knows())
        )
        await workshop.board.stop()
        return workshop.track.moves()

    return asyncio.run(run())


@dataclass(frozen=True)
class PracticePiece:
    """One default piece of a practice machine, read `rounds` times."""

    name: str
    rounds: int = 1
    misreads: float = 0.01

    def one(self, rng: np.random.Generator) -> Numbers:
        """Errors and hits of printed scale and shear, and the cube habit on the same machine."""
        truth = draw_truth(rng)
        person = Person(draw_caliper(rng), rng, self.misreads)
        skew = truth.skew_found
        scale = truth.step_error
        shear = truth.shear - skew * (1 + scale["X"]) / (1 + scale["Y"])
        motion = MotionErrors(scale, shear, 1 + scale["E"])
        drawn = SpanPiece()
        moves = replace(executed(), motor_mm=executed().motor_mm * (1 + scale["E"]))
        seed = int(rng.integers(2**31))
        piece = as_printed(drawn, moves, motion, truth, kind=KIND, seed=seed)
        assert isinstance(piece, PrintedSpan)
        readings = [
            _read(piece, person, truth, place)
            for _ in range(self.rounds)
            for place in drawn.places()
        ]
        box = person.caliper.owner_knows()
        found = solve_span(
            readings, instrument=Instrument(**box), in_force=STEPS, skew={"XY": skew}
        )
        truths = {f"scale {a}": v for a, v in printed_scale(scale, truth.shrinkage).items()}
        truths["shear XY"] = _printed_shear(motion, truth)
        numbers = compared(found, truths)
        for axis in "XY":
            cube = 20.0 * (1 + truths[f"scale {axis}"]) + _grown_mm(truth, motion, axis)
            numbers[f"habit {axis}"] = cube / 20.0 - 1 - truths[f"scale {axis}"]
        return numbers


def _read(piece: PrintedSpan, person: Person, truth: Truth, place: Place) -> SpanReading:
    """One reading as the practice workshop takes it."""
    flat = place.direction != "Z"
    sign = {"outside": 1, "inside": -1}.get(place.faces, 0) if flat else 0
    text = person.read_distance(
        piece.distance_mm(place) - sign * truth.jaw_bend_mm,
        "depth" if place.faces == "same" else place.faces,
        tilt_mm=truth.jaw_tilt_mm if flat else 0.0,
        swap_mm=-2 * sign * piece.drawn.post_mm,
        label=place.label,
    )
    return SpanReading(
        place.direction,  # type: ignore[arg-type]
        place.faces,  # type: ignore[arg-type]
        place.nominal_mm,
        float(text),
        place.label,
    )


def _printed_shear(motion: MotionErrors, truth: Truth) -> float:
    """Shear of the plastic: that of the motion, as the shrinking leaves it."""
    return motion.shear * (1 + truth.shrinkage["X"]) / (1 + truth.shrinkage["Y"])


def _grown_mm(truth: Truth, motion: MotionErrors, axis: str) -> float:
    """What a cube's outside gains: growth, over-feeding, bulge, less the slack."""
    fat = MEAN_WIDTH_MM * (motion.fed_ratio - 1)
    return truth.growth_mm + fat + truth.corner_bulge_mm - truth.reversal_mm[axis]


def cases() -> tuple[PracticePiece, ...]:
    """As the practice evening reads it, and twice as often."""
    return (
        PracticePiece("practice machine, every place once"),
        PracticePiece("practice machine, every place twice", rounds=2),
    )
