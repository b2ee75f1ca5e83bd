"""The bead piece as it came out: how thick the ring is at each band, from the beads laid there.

Not for the caliper. Stands on `shape` and the parameters of the piece.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from asleft.pieces import BeadPiece, Place
from asleft.practice.errors import CannotError
from asleft.practice.printed.shape import Lying, Window

JAW_MM = 4.0
"""Height of a band that the jaws touch (ours)."""
DEEP_MM = 2.0
_OUT = {"front": (0.0, -1.0), "right": (1.0, 0.0), "back": (0.0, 1.0), "left": (-1.0, 0.0)}


@dataclass(frozen=True)
class PrintedBead:
    """One printed bead piece."""

    drawn: BeadPiece
    lying: Lying

    def places(self, drawn_width_mm: float) -> tuple[Place, ...]:
        """The flats of the band that was drawn so wide.

        Raises:
            CannotError: no band was.
        """
        found = tuple(p for p in self.drawn.places() if abs(p.nominal_mm - drawn_width_mm) < 5e-4)
        if not found:
            raise CannotError(f"no band of the piece is drawn {drawn_width_mm:g} mm wide")
        return found

    def volume_mm3(self) -> float:
        """Plastic of the ring alone."""
        beads, reach = self.lying.beads, self.drawn.flats_mm / 2 + DEEP_MM
        middle = (beads.from_mm + beads.to_mm)[:, :2] / 2 - self.lying.origin_mm
        return float(beads.volume_mm3[np.abs(middle).max(axis=1) <= reach].sum())

    def thickness_mm(self, place: Place) -> float:
        """The wall between the jaws, over its bulges, mm: the same at every reading."""
        normal = _OUT[place.where.split()[0]]
        band = self.drawn.band_mm
        middle = (self.drawn.widths_mm.index(place.nominal_mm) + 0.5) * band
        reach = self.drawn.flats_mm / 2
        half = self.drawn.flats_mm * (math.sqrt(2) - 1) / 4

        def edge_mm(sign: float) -> float:
            way = (sign * normal[0], sign * normal[1])
            centre = (reach * normal[0], reach * normal[1])
            span = (middle - JAW_MM / 2, middle + JAW_MM / 2)
            return self.lying.edge_mm(Window(centre, way, half, DEEP_MM, *span))

        scatter = float(self.lying.chance(place.label).normal(0, self.lying.truth.face_scatter_mm))
        return edge_mm(1.0) + edge_mm(-1.0) + self.lying.grown_mm() + scatter
