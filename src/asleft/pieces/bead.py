"""The bead piece: its parameters, and the places where the wall is read, in measuring order.

An eight-sided ring one bead thick, in bands of falling drawn width on one centre line, so that
flow and the bead's shape can be told apart. Not the solid and not the drawing. Origin in the
middle, Z = 0 at the bed. Stands on `parameters` and `place`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from asleft.pieces.parameters import (
    Parameters,
    demand,
    demand_above_zero,
    demand_layers,
    usual_layer_mm,
)
from asleft.pieces.place import Place

FLATS = ("front", "right", "back", "left")  # the four that face the axes are read
# Drawn widths over the nozzle's bore: narrow enough to hold, wide enough to part slope and offset.
WIDTHS_PER_NOZZLE = (1.625, 1.375, 1.125)
_NAMES = {1: ("only",), 2: ("low", "high"), 3: ("low", "middle", "high")}


@dataclass(frozen=True)
class BeadPiece(Parameters):
    """The bead piece, in mm.

    `flats_mm` is measured over the flats of the centre line. `widths_mm` are the drawn widths
    of the bands from the bed upwards, falling, so that no band hangs over; `band_mm` is the
    height of each.

    Raises:
        InputError: sizes that cannot be printed or measured; the hint says what would do.
    """

    flats_mm: float = 48.0
    widths_mm: tuple[float, ...] = (0.65, 0.55, 0.45)
    band_mm: float = 8.0
    layer_mm: float = 0.2

    def __post_init__(self) -> None:
        """Refuse what could not be printed or measured."""
        object.__setattr__(self, "widths_mm", tuple(self.widths_mm))  # equal pieces are found again
        sizes = {f"widths_mm[{n}]": width for n, width in enumerate(self.widths_mm)}
        demand_above_zero(
            {
                "flats_mm": self.flats_mm,
                "band_mm": self.band_mm,
                "layer_mm": self.layer_mm,
                **sizes,
            }
        )
        demand(1 <= len(self.widths_mm) <= 3, "widths_mm", "give one to three widths")
        demand(
            all(a - b >= 0.02 for a, b in pairwise(self.widths_mm)),
            "widths_mm",
            "widths must fall by 0.02 mm or more from band to band",
        )
        demand(self.flats_mm >= 20, "flats_mm", "jaws need room inside: 20 mm over flats would do")
        demand(self.band_mm >= 4, "band_mm", "jaws need a band of 4 mm")
        demand_layers(self.whole_mm, self.layer_mm, min(self.widths_mm))

    @classmethod
    def for_nozzle(cls, nozzle_mm: float, **sizes: Any) -> BeadPiece:
        """The piece with widths, to 0.005 mm, and a layer (unless given) that suit a nozzle."""
        demand_above_zero({"nozzle": nozzle_mm})
        widths = tuple(round(round(w * nozzle_mm / 0.005) * 0.005, 3) for w in WIDTHS_PER_NOZZLE)
        layer = usual_layer_mm(nozzle_mm, min(widths))
        return cls(**{"widths_mm": widths, "layer_mm": layer, **sizes})

    @property
    def whole_mm(self) -> tuple[float, ...]:
        """Heights that must be whole layers."""
        return (self.band_mm,)

    @property
    def tallest_mm(self) -> float:
        """Height of the whole."""
        return self.band_mm * len(self.widths_mm)

    @property
    def line_width_mm(self) -> float:
        """Drawn width of the lowest band."""
        return self.widths_mm[0]

    def width_at_mm(self, z_mm: float) -> float:
        """Drawn width at a height."""
        return self.widths_mm[min(int(z_mm / self.band_mm), len(self.widths_mm) - 1)]

    def octagon_mm(self, across_mm: float) -> list[tuple[float, float]]:
        """Corners of an octagon of a width over flats, counter-clockwise from the right front."""
        half = across_mm / 2
        short = half * (math.sqrt(2) - 1)
        quarter = [(half, -short), (half, short), (short, half), (-short, half)]
        return quarter + [(-x, -y) for x, y in quarter]

    def outline_mm(self) -> list[tuple[float, float]]:
        """Outermost corners on the bed."""
        return self.octagon_mm(self.flats_mm + self.widths_mm[0])

    def places(self) -> tuple[Place, ...]:
        """Four readings a band, on the flats that face the axes, from the bed upwards."""
        names = _NAMES[len(self.widths_mm)]
        found = [
            (width, f"{flat} flat, {name} band, {(rank + 0.5) * self.band_mm:g} mm up")
            for rank, (width, name) in enumerate(zip(self.widths_mm, names, strict=True))
            for flat in FLATS
        ]
        return tuple(
            Place(str(n), "wall", "outside", width, where)
            for n, (width, where) in enumerate(found, start=1)
        )
