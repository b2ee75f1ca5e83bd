"""A stroke: one line of beads laid without a break, and how much plastic it takes.

The words in which the planner's files speak with each other; no shape and no code here.
Everything in the piece's own frame. Stands on numpy.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
import numpy.typing as npt

from asleft.pieces.path.route import KeepOut

Points = npt.NDArray[np.float64]
Kind = Literal["measured", "wall", "fill"]


def bead_mm2(width_mm: float, layer_mm: float) -> float:
    """Section of a bead: a stadium, straight above and below, half round at both sides."""
    return (width_mm - layer_mm) * layer_mm + math.pi / 4 * layer_mm**2


@dataclass(frozen=True)
class Stroke:
    """A polyline (n, 2) in mm along which beads `width_mm` wide are laid, n at least 2.

    A closed one ends where it begins. `kind` chooses the speed.
    """

    points_mm: Points
    width_mm: float
    kind: Kind

    @property
    def length_mm(self) -> float:
        """Length along the line."""
        return float(np.hypot(*np.diff(self.points_mm, axis=0).T).sum())


@dataclass(frozen=True)
class Island:
    """A part of a layer whose faces will be measured, so that travel must respect them.

    `seam_mm` is where its outer wall begins and ends. `keep_out` is a convex outline that
    no travel may cross. A body that is entered and left by doors has them in `doors_mm`, two
    points on never-measured flats; where it is None the outline is a hole and travel inside
    the body must go round it. `width_mm` is the width of its beads where it is not the piece's.
    """

    centre_mm: tuple[float, float]
    seam_mm: tuple[float, float]
    keep_out: KeepOut | None = None
    doors_mm: tuple[tuple[float, float], tuple[float, float]] | None = None
    width_mm: float | None = None


@dataclass(frozen=True)
class Visit:
    """What is laid on one island, or on all that is not measured (`island` None), in order."""

    strokes: tuple[Stroke, ...]
    island: Island | None = None


@dataclass(frozen=True)
class Layer:
    """All visits of one layer in order, from `z_mm - layer` up to `z_mm`."""

    z_mm: float
    visits: tuple[Visit, ...]

    @cached_property
    def keep_outs(self) -> tuple[KeepOut, ...]:
        """Outlines that no travel of this layer may cross."""
        islands = (visit.island for visit in self.visits)
        return tuple(i.keep_out for i in islands if i is not None and i.keep_out is not None)
