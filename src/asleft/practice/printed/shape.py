"""A printed piece that can be measured: what lies at its faces, taken from its beads.

Not for a piece's own places: those stand in `shape_span`, `shape_bead` and `shape_fit`. Stands on
the beads.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np

from asleft.practice.body.truth import Truth
from asleft.practice.errors import CannotError
from asleft.practice.printed.deposit import Beads

BULGE_SPREAD = 0.2
"""How much the bulge differs from place to place, as a share (ours)."""
PIECE_GROWTH_MM = 0.008
"""Growth between two pieces of one making, standard deviation (ours)."""
LEAST_LAYERS = 0.6
"""Share of its layers that a face must have for jaws to find it (ours)."""


@dataclass(frozen=True)
class Window:
    """Where jaws touch, in the piece's own frame, mm.

    `centre` lies on the drawn face, `normal` points out of the plastic. Beads count within
    `half` of the centre along the face, within `deep` of it across, and between two heights.
    """

    centre: tuple[float, float]
    normal: tuple[float, float]
    half: float
    deep: float
    low_z: float
    high_z: float


@dataclass(frozen=True)
class Lying:
    """Beads on the bed and the hidden numbers that shape what is made of them.

    `origin_mm` is where the piece's own frame lies in the machine's; `seed` of this piece.
    """

    beads: Beads
    truth: Truth
    origin_mm: tuple[float, float]
    layer_mm: float
    seed: int

    def chance(self, what: str) -> np.random.Generator:
        """Chance that is the same at every reading of one place, in whatever order."""
        return np.random.default_rng([self.seed, zlib.crc32(what.encode())])

    def grown_mm(self) -> float:
        """By how much both faces together stand out of this piece."""
        of_piece = np.random.default_rng([self.seed, 1]).normal(0, PIECE_GROWTH_MM)
        return self.truth.growth_mm + float(of_piece)

    def within(self, window: Window) -> tuple[Beads, np.ndarray, np.ndarray]:
        """Beads in a window, with the shares of their length at which they enter and leave it."""
        z = self.beads.to_mm[:, 2]
        band = np.flatnonzero((z > window.low_z + 1e-6) & (z <= window.high_z + 1e-6))
        n = np.array(window.normal)
        along = np.array([-n[1], n[0]])
        centre = np.array(window.centre) + self.origin_mm
        start = self.beads.from_mm[band, :2] - centre
        end = self.beads.to_mm[band, :2] - centre
        enter, leave = _clipped(start @ along, end @ along, window.half)
        across = start @ n + (enter + leave) / 2 * ((end - start) @ n)
        rows = (enter < leave) & (np.abs(across) <= window.deep)
        return self.beads.only(band[rows]), enter[rows], leave[rows]

    def edge_mm(self, window: Window) -> float:
        """How far the outermost beads reach along the normal, from the machine's origin, mm.

        Mean over the layers that the jaws touch.

        Raises:
            CannotError: too little was laid there.
        """
        beads, enter, leave = self.within(window)
        wanted = round((window.high_z - window.low_z) / self.layer_mm)
        levels, layer = np.unique(beads.level, return_inverse=True)
        if len(levels) < max(1, LEAST_LAYERS * wanted):
            raise CannotError("there is no such face on the piece: it was not laid")
        middle = ((enter + leave) / 2)[:, None]
        at = beads.start_mm + middle * (beads.end_mm - beads.start_mm)
        reach = at[:, :2] @ np.array(window.normal) + beads.width_mm / 2
        outermost = np.full(len(levels), -np.inf)
        np.maximum.at(outermost, layer, reach)
        return float(outermost.mean())


def _clipped(a: np.ndarray, b: np.ndarray, half: float) -> tuple[np.ndarray, np.ndarray]:
    """Shares of the way from a to b at which it lies within half of 0; none if enter >= leave."""
    way = np.where(np.abs(b - a) < 1e-9, 1e-9, b - a)
    one, other = (-half - a) / way, (half - a) / way
    enter = np.maximum(np.minimum(one, other), 0.0)
    leave = np.minimum(np.maximum(one, other), 1.0)
    return enter, leave
