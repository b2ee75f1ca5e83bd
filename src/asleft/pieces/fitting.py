"""The fit piece: collars with bores and pins in small steps round the person's own part.

Loose bodies, each with its number raised on a tab, so that each can be taken to the shaft or
into the bearing. Not the solid and not the drawing. Origin in the middle of all, Z = 0 at the
bed. Stands on `parameters` and `place`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from asleft.errors import InputError
from asleft.pieces.lettering import ADVANCE_MM, HEIGHT_MM
from asleft.pieces.parameters import (
    Parameters,
    demand,
    demand_above_zero,
    demand_layers,
)
from asleft.pieces.place import Place
from asleft.pieces.rib import rib_mm

GAP_MM = 3.0  # between bodies on the bed
TAB_EDGE_MM = 1.0  # round the number on its tab
SMALLEST_MM, LARGEST_MM = 2.0, 100.0
MOST_BODIES = 40
PARTS = ("bores", "pins", "both")


@dataclass(frozen=True)
class FitPiece(Parameters):
    """The fit piece, in mm.

    `gauge_mm` is the size of the person's shaft (for bores) or of their bore or bearing (for
    pins), as they measured it. Bores are drawn from `tighter` steps below to `wider` steps
    above it, pins the other way round. `parts` is `bores`, `pins` or `both`. Collars are
    `wall_beads` thick; `columns` bodies lie side by side.

    Raises:
        InputError: sizes that cannot be printed or tried; the hint says what would do.
    """

    gauge_mm: float = 8.0
    step_mm: float = 0.05
    tighter: int = 1
    wider: int = 8
    parts: str = "both"
    height_mm: float = 5.0
    head_mm: float = 2.0
    wall_beads: int = 4
    line_width_mm: float = 0.45
    layer_mm: float = 0.2
    foot_mm: float = 0.5
    foot_height_mm: float = 1.0
    columns: int = 5

    def __post_init__(self) -> None:
        """Refuse what could not be printed or tried."""
        names = ("gauge_mm", "step_mm", "height_mm", "head_mm", "line_width_mm", "layer_mm")
        demand_above_zero({name: getattr(self, name) for name in names})
        demand_above_zero({"columns": self.columns, "foot_mm": self.foot_mm})
        demand(
            self.gauge_mm >= SMALLEST_MM,
            "gauge_mm",
            f"a shaft of {SMALLEST_MM:g} mm is the least that a bore can be printed for",
        )
        demand(self.gauge_mm <= LARGEST_MM, "gauge_mm", f"a shaft of {LARGEST_MM:g} mm would do")
        demand(self.parts in PARTS, "parts", "it is bores, pins or both")
        demand(
            self.tighter >= 0 and self.wider >= 0 and 2 <= self.tighter + self.wider + 1 <= 20,
            "tighter, wider",
            "give two to twenty sizes",
        )
        most = self.gauge_mm / 4 / max(self.tighter, self.wider)
        largest = math.floor(most * 1000) / 1000
        demand(self.step_mm <= most, "step_mm", f"steps of {largest:g} mm would do")
        demand(
            self.wall_beads in (4, 6, 8, 10, 12),
            "wall_beads",
            "collars are an even number of beads thick, 4 to 12",
        )
        most = self.collar_mm - 1.7 * self.line_width_mm  # two beads, a little narrow, remain
        demand(self.foot_mm <= most, "foot_mm", f"a foot of {most:.2f} mm would do")
        demand(
            self.height_mm >= self.foot_height_mm + 2, "height_mm", "a bore needs 3 mm of height"
        )
        demand_layers(self.whole_mm, self.layer_mm, self.line_width_mm)

    @classmethod
    def for_machine(
        cls, *, bed_shape: str, travel_mm: tuple[float, float, float], **sizes: Any
    ) -> FitPiece:
        """The piece laid out to fit this bed, as square as it comes.

        Raises:
            InputError: bed too small; the hint says what would do.
        """
        from asleft.pieces.fit import fits

        whole = cls(**{**sizes, "columns": 1})
        layouts = [cls(**{**sizes, "columns": n}) for n in range(1, len(whole.places()) + 1)]
        layouts.sort(key=lambda piece: max(piece.extent_mm))
        for piece in layouts:
            if fits(piece, bed_shape, travel_mm):
                return piece
        raise _too_large(cls, sizes, layouts[0], bed_shape, travel_mm)

    @property
    def whole_mm(self) -> tuple[float, ...]:
        """Heights that must be whole layers."""
        return self.height_mm, self.head_mm, self.foot_height_mm

    @property
    def tallest_mm(self) -> float:
        """Height of the whole."""
        pins = self.head_mm + self.height_mm if self.pins else 0.0
        return max(self.height_mm, pins)

    @property
    def bores(self) -> tuple[float, ...]:
        """Drawn diameters of the bores, tightest first; () where there are none."""
        return self._sizes(1) if self.parts != "pins" else ()

    @property
    def pins(self) -> tuple[float, ...]:
        """Drawn diameters of the pins, tightest first; () where there are none."""
        return self._sizes(-1) if self.parts != "bores" else ()

    def _sizes(self, sign: int) -> tuple[float, ...]:
        return tuple(
            round(self.gauge_mm + sign * n * self.step_mm, 4)
            for n in range(-self.tighter, self.wider + 1)
        )

    @property
    def relief_mm(self) -> float:
        """Depth of the notch in a bore, and of the flat on a pin, where the seam lies."""
        return min(max(self.gauge_mm / 8, 0.6), 1.2)

    @property
    def collar_mm(self) -> float:
        """Thickness of a collar: a whole number of beads."""
        return rib_mm(self.wall_beads, self.line_width_mm, self.layer_mm)

    def set_back_mm(self, z_mm: float) -> float:
        """By how much a bore is wider all round at a height of its foot."""
        return max(0.0, self.foot_mm * (1 - z_mm / self.foot_height_mm))

    @property
    def tab_mm(self) -> tuple[float, float]:
        """Width and depth of the tab behind a body."""
        digits = len(str(len(self.bores) + len(self.pins)))
        return digits * ADVANCE_MM + 2 * TAB_EDGE_MM, HEIGHT_MM + 2 * TAB_EDGE_MM

    @property
    def tile_mm(self) -> tuple[float, float]:
        """Width and depth that a body takes, gap not counted; its centre is at `tile_centre`."""
        widest = max((*self.bores, *self.pins))
        round_mm = widest + 2 * self.collar_mm
        return max(round_mm, self.tab_mm[0]), round_mm + self.relief_mm + self.tab_mm[1]

    @property
    def extent_mm(self) -> tuple[float, float]:
        """Width and depth of all bodies together."""
        count = len(self.bores) + len(self.pins)
        across = min(self.columns, count)
        rows = math.ceil(count / self.columns)
        wide, deep = self.tile_mm
        return across * (wide + GAP_MM) - GAP_MM, rows * (deep + GAP_MM) - GAP_MM

    def centres_mm(self) -> list[tuple[float, float]]:
        """Axes of bores and pins in the order of their numbers, row by row from the front."""
        wide, deep = self.tile_mm
        whole_x, whole_y = self.extent_mm
        ahead = self.relief_mm + self.collar_mm + max((*self.bores, *self.pins)) / 2
        return [
            (
                -whole_x / 2 + wide / 2 + (n % self.columns) * (wide + GAP_MM),
                -whole_y / 2 + ahead + (n // self.columns) * (deep + GAP_MM),
            )
            for n in range(len(self.bores) + len(self.pins))
        ]

    def outline_mm(self) -> list[tuple[float, float]]:
        """Outermost corners of every body: its round part, the bulge in front, the tab behind."""
        found: list[tuple[float, float]] = []
        wide, deep = self.tab_mm
        sizes = (*self.bores, *self.pins)
        for n, ((x, y), size) in enumerate(zip(self.centres_mm(), sizes, strict=True)):
            reach = size / 2 + self.collar_mm
            found += [
                (x + reach * math.cos(a), y + reach * math.sin(a))
                for a in (math.pi * n / 12 for n in range(24))
            ]
            if n < len(self.bores):
                found.append((x, y - reach - self.relief_mm))
            found += [(x - wide / 2, y + reach + deep), (x + wide / 2, y + reach + deep)]
        return found

    def places(self) -> tuple[Place, ...]:
        """One try a body, tightest first: bores, then pins. Labels are the raised numbers."""
        found = [("hole", "inside", size, "bore", size - self.gauge_mm) for size in self.bores]
        found += [("shaft", "outside", size, "pin", self.gauge_mm - size) for size in self.pins]
        return tuple(
            Place(str(n), way, faces, size, f"{what} {n}, {play:+.2f} mm of play drawn")
            for n, (way, faces, size, what, play) in enumerate(found, start=1)
        )


def _too_large(
    cls: type[FitPiece],
    sizes: dict[str, Any],
    smallest: FitPiece,
    bed_shape: str,
    travel_mm: Sequence[float],
) -> InputError:
    """What would fit: the largest shaft, to 0.5 mm, or the bed that this one needs."""
    from asleft.pieces.fit import bed_for, fits

    hint = f"{bed_for(smallest, bed_shape, travel_mm)} would do"
    count = len(smallest.places())

    def lies(**other: Any) -> bool:
        layouts = (cls(**{**sizes, **other, "columns": n}) for n in range(1, count + 1))
        return any(fits(layout, bed_shape, travel_mm) for layout in layouts)

    if smallest.parts == "both" and lies(parts="bores"):
        hint += ", or bores alone"
    tried = smallest.gauge_mm - 0.5
    least = max(SMALLEST_MM, 4 * smallest.step_mm * max(smallest.tighter, smallest.wider))
    while tried >= least and not lies(gauge_mm=tried):
        tried -= 0.5
    if tried >= least:
        hint += f", or a shaft of {tried:g} mm"
    return InputError(
        f"bodies for a shaft of {smallest.gauge_mm:g} mm do not fit this bed",
        hint=hint + ".",
        where="gauge",
    )
