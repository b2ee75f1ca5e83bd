"""A printed span piece of the practice machine, fixed once it is printed.

The way from drawn distance to the distance between two real faces, with the effects that no solver
models. Not for the caliper and the hand that reads it. Stands on the hidden truth and the
parameters of the piece.
"""

from __future__ import annotations

import math
import zlib
from dataclasses import dataclass

import numpy as np

from asleft.pieces import Place, SpanPiece
from asleft.practice.truth import Truth

BELT_TURN_MM = 40.0
SCREW_TURN_MM = 8.0
BULGE_SPREAD = 0.2
"""How much the bulge differs from place to place, as a share (ours)."""
PIECE_GROWTH_MM = 0.008
"""Growth between two pieces of one making, standard deviation (ours)."""
_SIGN = {"outside": 1.0, "inside": -1.0, "same": 0.0}


@dataclass(frozen=True)
class MotionErrors:
    """What decides the shape at the moment of printing, from the steps and skew in force.

    `scale` is steps in force over true steps, minus 1; `shear` in rad, after the active factor;
    `fed_ratio` true length of filament over commanded, overrides included.
    """

    scale: dict[str, float]
    shear: float
    fed_ratio: float


def printed_scale(scale: dict[str, float], shrinkage: dict[str, float]) -> dict[str, float]:
    """`(1 + s)(1 + h) - 1` for X, Y, Z."""
    return {a: (1 + scale[a]) * (1 + shrinkage[a]) - 1 for a in "XYZ"}


@dataclass(frozen=True)
class PrintedPiece:
    """One printed piece.

    Args:
        drawn: its parameters.
        motion: the machine's errors while it was printed.
        truth: the hidden numbers.
        centre_mm: where on the bed its middle stood.
        seed: of this piece; every face draws its scatter from it, in whatever order it is read.
    """

    drawn: SpanPiece
    motion: MotionErrors
    truth: Truth
    centre_mm: tuple[float, float]
    seed: int

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
        """The distance between the two faces of a place, mm: the same at every reading."""
        rng = np.random.default_rng([self.seed, zlib.crc32(place.label.encode())])
        scatter = float(rng.normal(0, self.truth.face_scatter_mm))
        spread = 1 + BULGE_SPREAD * float(rng.normal())
        if place.direction == "Z":
            return self._height_mm(place) + scatter
        along = _unit(place.direction)
        boundary = self._growth_mm(place.direction) + self._drift_mm(place)
        boundary += self.truth.corner_bulge_mm * spread
        return (
            place.nominal_mm * self._stretch(along)
            + _SIGN[place.faces] * boundary
            + self._periodic_mm(along, place.nominal_mm)
            + scatter
        )

    def _stretch(self, n: tuple[float, float]) -> float:
        """Length of a drawn unit vector once printed: shear, then scale, then shrinkage."""
        total = printed_scale(self.motion.scale, self.truth.shrinkage)
        x = (1 + self.motion.scale["X"]) * n[0]
        x += self.motion.shear * (1 + self.motion.scale["Y"]) * n[1]
        return math.hypot(x * (1 + self.truth.shrinkage["X"]), (1 + total["Y"]) * n[1])

    def _growth_mm(self, direction: str) -> float:
        """Both faces together: the boundary's growth, fatter when over-fed, less the slack.

        An over-fed wall is wider by the line width times the excess; slack keeps the carriage
        short of both faces.
        """
        slack = self.truth.reversal_mm
        lost = (slack["X"] + slack["Y"]) / 2 if len(direction) > 1 else slack[direction]
        fat = self.drawn.line_width_mm * (self.motion.fed_ratio - 1)
        chance = float(np.random.default_rng([self.seed, 1]).normal(0, PIECE_GROWTH_MM))
        return self.truth.growth_mm + fat - lost + chance

    def _drift_mm(self, place: Place) -> float:
        """The bead drifts while the piece is printed: rows and heights differ."""
        words = place.where.replace(",", " ").split()
        row = 1.0 if {"back", "right"} & set(words[:2]) else -1.0
        late = 0.5 if "high" in words else -0.5
        return self.truth.drift_mm * (row + late)

    def _periodic_mm(self, n: tuple[float, float], length_mm: float) -> float:
        """Pulleys that are not quite round, between the two faces and along the direction."""
        total = 0.0
        for axis, share, middle in zip("XY", n, self.centre_mm, strict=True):
            far, near = middle + share * length_mm / 2, middle - share * length_mm / 2
            total += share * (
                self._wave(axis, far, BELT_TURN_MM) - self._wave(axis, near, BELT_TURN_MM)
            )
        return total

    def _wave(self, axis: str, at_mm: float, turn_mm: float) -> float:
        phase = 2 * math.pi * at_mm / turn_mm + self.truth.periodic_phase[axis]
        return self.truth.periodic_mm[axis] * math.sin(phase)

    def _height_mm(self, place: Place) -> float:
        scale = printed_scale(self.motion.scale, self.truth.shrinkage)["Z"]
        height = place.nominal_mm * (1 + scale)
        if place.faces != "same":  # from the bed face, where the first layer is squeezed
            height += self.truth.first_layer_mm
        screw = self._wave("Z", place.nominal_mm, SCREW_TURN_MM) - self._wave("Z", 0, SCREW_TURN_MM)
        return height + screw


def _unit(direction: str) -> tuple[float, float]:
    half = math.sqrt(0.5)
    return {"X": (1.0, 0.0), "Y": (0.0, 1.0), "XY+": (half, half), "XY-": (half, -half)}[direction]


def print_minutes(drawn: SpanPiece) -> float:
    """Own minutes that a print takes: plastic over 4.5 mm³/s, and warming up (ours)."""
    ribs = 4 * drawn.pitch_mm * drawn.rib_mm(drawn.side_beads)
    ribs += 2 * math.sqrt(2) * drawn.pitch_mm * drawn.rib_mm(drawn.diagonal_beads)
    posts = 4 * 0.828 * drawn.post_mm**2 * drawn.post_height_mm * 0.6
    lands = drawn.column_width_mm * drawn.land_mm * sum(drawn.column_heights_mm) * 0.3
    return (ribs * drawn.base_height_mm + posts + lands) / 4.5 / 60 + 4.0
