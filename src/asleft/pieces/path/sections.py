"""The piece cut into layers: one cross-section each, equal ones found once, and what is skin.

Each layer is cut at its middle height. Not for beads. Stands on the room's solids; the library
for sections does the cutting.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from manifold3d import CrossSection, Manifold

_GRID_MM = 1e-4
SKIN_MM = 0.8  # closed plastic below and above a sparse inside; common practice, no source


@dataclass
class Sections:
    """Cross-sections of a piece, layer by layer from the bed.

    `numbers[n]` is the number of layer n's section in `areas`; equal layers share one.
    """

    layer_mm: float
    numbers: list[int] = field(default_factory=list)
    areas: list[CrossSection] = field(default_factory=list)

    @classmethod
    def of(cls, solid: Manifold, layer_mm: float) -> Sections:
        """Cut a solid that stands on Z = 0 into whole layers."""
        found = cls(layer_mm)
        known: dict[bytes, int] = {}
        levels = np.unique(np.asarray(solid.to_mesh64().vert_properties)[:, 2].round(6))
        count = round(solid.bounding_box()[5] / layer_mm)
        between = np.searchsorted(levels, (np.arange(count) + 0.5) * layer_mm)
        n = 0
        while n < count:
            last = int(np.searchsorted(between, between[n], side="right")) - 1
            number = found._number(solid, n, known)
            # Between two levels an upright shape is the same above as below.
            same = last > n and found._number(solid, last, known) == number
            found.numbers += [number] * (last - n) if same else [number]
            n = last if same else n + 1
        return found

    def _number(self, solid: Manifold, n: int, known: dict[bytes, int]) -> int:
        """The number of layer n's section, a new one if it is like none before."""
        from manifold3d import CrossSection

        # Cut triangles leave corners along straight edges, elsewhere at every height.
        area = solid.slice((n + 0.5) * self.layer_mm).simplify(_GRID_MM)
        rounded = [np.round(p / _GRID_MM).astype(np.int64) for p in area.to_polygons()]
        key = b"|".join(sorted(_first_lowest(p).tobytes() for p in rounded))
        if key not in known:
            known[key] = len(self.areas)
            self.areas.append(CrossSection([p * _GRID_MM for p in rounded]).simplify(_GRID_MM))
        return known[key]

    def around(self, n: int) -> tuple[int, ...]:
        """Numbers of all sections within a skin's thickness of layer n; -1 is air or the bed."""
        reach = round(SKIN_MM / self.layer_mm)
        near = range(n - reach, n + reach + 1)
        return tuple(sorted({self.numbers[k] if 0 <= k < len(self.numbers) else -1 for k in near}))

    def inner(self, around: tuple[int, ...]) -> CrossSection:
        """What has plastic on all layers around: the place of a sparse inside."""
        from manifold3d import CrossSection

        if -1 in around:
            return CrossSection()
        result = self.areas[around[0]]
        for number in around[1:]:
            result = result ^ self.areas[number]
        return result


def _first_lowest(polygon: np.ndarray[tuple[int, ...], np.dtype[np.int64]]) -> np.ndarray:
    """The polygon from its lowest corner on, so that equal ones have equal bytes."""
    first = np.lexsort((polygon[:, 1], polygon[:, 0]))[0]
    return np.ascontiguousarray(np.roll(polygon, -first, axis=0))
