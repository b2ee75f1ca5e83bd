"""The span piece as it came out: distances between real faces, from the beads laid there.

Not for the caliper and the hand that reads it. Stands on `shape` and the parameters of the piece.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from asleft.pieces import Place, SpanPiece
from asleft.practice.errors import CannotError
from asleft.practice.printed.shape import BULGE_SPREAD, Lying, Window

SIGN = {"outside": 1.0, "inside": -1.0, "same": 0.0}
DEEP_MM = 3.5
"""So far from its drawn place a face is still taken for it (ours)."""
_HALF = math.sqrt(0.5)
_UNIT = {"X": (1.0, 0.0), "Y": (0.0, 1.0), "XY+": (_HALF, _HALF), "XY-": (_HALF, -_HALF)}
# Signs of the two posts, in the direction's sense, by direction and the row's first word.
_POSTS = {
    ("X", "front"): ((-1, -1), (1, -1)),
    ("X", "back"): ((-1, 1), (1, 1)),
    ("Y", "left"): ((-1, -1), (-1, 1)),
    ("Y", "right"): ((1, -1), (1, 1)),
    ("XY+", "front"): ((-1, -1), (1, 1)),
    ("XY-", "front"): ((-1, 1), (1, -1)),
}


@dataclass(frozen=True)
class PrintedSpan:
    """One printed span piece."""

    drawn: SpanPiece
    lying: Lying

    def find(
        self, direction: str, faces: str, nominal_mm: float, label: str | None
    ) -> Place | None:
        """The place that somebody means: by its label, else by what it measures."""
        for place in self.drawn.places():
            same = (place.direction, place.faces) == (direction, faces)
            if label is not None and place.label == str(label):
                return place
            if label is None and same and abs(place.nominal_mm - nominal_mm) < 0.01:
                return place
        return None

    def distance_mm(self, place: Place) -> float:
        """The distance between the two faces of a place, mm: the same at every reading.

        Raises:
            CannotError: one of them was not laid.
        """
        rng, truth = self.lying.chance(place.label), self.lying.truth
        scatter = float(rng.normal(0, truth.face_scatter_mm))
        spread = 1 + BULGE_SPREAD * float(rng.normal())
        if place.direction == "Z":
            return self._height_mm(place) + scatter
        boundary = self.lying.grown_mm() + self._drift_mm(place)
        boundary += truth.corner_bulge_mm * spread
        sign = SIGN[place.faces]
        return sum(sign * self.lying.edge_mm(w) for w in self._faces(place)) + (
            sign * boundary + scatter
        )

    def _faces(self, place: Place) -> tuple[Window, Window]:
        """The two faces: jaws touch the middle of a flat, below or above the middle height."""
        n = _UNIT[place.direction]
        row = place.where.split()[0]
        half, sign = self.drawn.pitch_mm / 2, SIGN[place.faces]
        low, high = self.drawn.touch_mm
        middle = (low + high) / 2
        low, high = (middle, high) if place.where.endswith("high on the posts") else (low, middle)
        windows = []
        for (sx, sy), outward in zip(_POSTS[place.direction, row], (-sign, sign), strict=True):
            normal = (outward * n[0], outward * n[1])
            reach = self.drawn.post_mm / 2
            centre = (sx * half + reach * normal[0], sy * half + reach * normal[1])
            windows.append(Window(centre, normal, self.drawn.flat_mm / 4, DEEP_MM, low, high))
        return windows[0], windows[1]

    def _drift_mm(self, place: Place) -> float:
        """The bead drifts while the piece is printed: rows and heights differ."""
        words = place.where.replace(",", " ").split()
        row = 1.0 if {"back", "right"} & set(words[:2]) else -1.0
        late = 0.5 if "high" in words else -0.5
        return self.lying.truth.drift_mm * (row + late)

    def _height_mm(self, place: Place) -> float:
        """From the bed to the top of the highest bead on a land; the first layer is squeezed."""
        drawn = self.drawn
        rank = drawn.lands_mm.index(place.nominal_mm)
        left, front = drawn.column_origin_mm
        centre = (left + drawn.column_width_mm / 2, front + (rank + 0.5) * drawn.land_mm)
        top = drawn.tallest_mm + drawn.layer_mm
        land = Window(
            centre, (1.0, 0.0), drawn.land_mm / 2 - 1, drawn.column_width_mm / 2 - 1, 0.0, top
        )
        beads, _, _ = self.lying.within(land)
        if len(beads.level) == 0:
            raise CannotError("there is no such land on the piece: it was not laid")
        bed_mm = self.lying.truth.periodic_mm["Z"] * np.sin(self.lying.truth.periodic_phase["Z"])
        height = float(beads.end_mm[:, 2].max() - bed_mm)
        return height + (self.lying.truth.first_layer_mm if place.faces != "same" else 0.0)
