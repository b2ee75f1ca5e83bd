"""The span piece of least plastic that a plan finds good enough, of all that bed and reach allow.

Not for the arithmetic: `measure` knows the uncertainty, `pieces` the plastic; here they meet.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from asleft.measure import Plan, cheapest
from asleft.measure.span.design import Measurable
from asleft.pieces import SpanPiece, span_cost, stiffened

LEAST_PITCH_MM, PITCH_STEP_MM = 60, 5


def least_span(
    largest: SpanPiece, plan: Callable[[Sequence[Measurable]], Plan]
) -> SpanPiece | None:
    """The piece of least plastic whose plan decides X, Y and shear; None where none does.

    Args:
        largest: the piece of longest pitch that bed and reach allow.
        plan: what a piece with these places will know.
    """
    pitches = range(LEAST_PITCH_MM, int(largest.pitch_mm), PITCH_STEP_MM)
    pieces = [*(stiffened(replace(largest, pitch_mm=float(p))) for p in pitches), largest]
    best = cheapest([(span_cost(p).grams, p.places()) for p in pieces], plan)
    return None if best is None else pieces[best]
