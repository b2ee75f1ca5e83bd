"""Raised marks as straight legs on a plate: for the solid and for the tool path alike.

Not the letters themselves (`lettering`) and not where they stand. Stands on `lettering`, `rib`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from asleft.pieces import lettering
from asleft.pieces.rib import rib_mm

if TYPE_CHECKING:
    from manifold3d import CrossSection

PLATE_MM = 1.2  # thickness of the plates that carry the marks
MARK_MM = 0.6  # how far the marks stand up from them
_BROADEST_MM = 1.0  # a stroke of two beads if it is no broader, else of one: letters are 5 mm high

Leg = tuple[tuple[float, float], tuple[float, float]]


def stroke_beads(line_width_mm: float, layer_mm: float) -> int:
    """How many beads a stroke of a letter is wide."""
    return 2 if rib_mm(2, line_width_mm, layer_mm) <= _BROADEST_MM else 1


def stroke_mm(line_width_mm: float, layer_mm: float) -> float:
    """Width of a stroke."""
    return rib_mm(stroke_beads(line_width_mm, layer_mm), line_width_mm, layer_mm)


def legs(text: str, left_mm: float, base_mm: float) -> list[Leg]:
    """The straight parts of a line of letters whose first begins at `left_mm`, upright."""
    return [
        ((left_mm + a[0], base_mm + a[1]), (left_mm + b[0], base_mm + b[1]))
        for stroke in lettering.strokes_mm(text)
        for a, b in pairwise(stroke)
    ]


def letters(all_legs: Sequence[Leg], width_mm: float) -> CrossSection:
    """The outline of legs laid with a round pen."""
    from manifold3d import CrossSection, OpType

    dot = CrossSection([_round(width_mm)])
    parts = [CrossSection.batch_hull([dot.translate(a), dot.translate(b)]) for a, b in all_legs]
    return CrossSection.batch_boolean(parts, OpType.Add)


def _round(width_mm: float) -> list[tuple[float, float]]:
    """A dot, eight-sided with flats at the sides: finer than what a nozzle can draw anyway."""
    half, eighth = width_mm / 2 / math.cos(math.pi / 8), math.pi / 4
    angles = [(n + 0.5) * eighth for n in range(8)]
    return [(half * math.cos(a), half * math.sin(a)) for a in angles]
