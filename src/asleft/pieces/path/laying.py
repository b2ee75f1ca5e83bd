"""One layer's strokes from its cross-section: walls outside in, closed skins, a sparse inside.

Which areas are measured is told by the piece's guide. Not for travel. Stands on `walls`, `fill`.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from asleft.pieces.path.fill import ANGLES_DEG, runs
from asleft.pieces.path.stroke import Island, Points, Stroke, Visit
from asleft.pieces.path.walls import Axis, opened, started, walls
from asleft.pieces.rib import spacing_mm

if TYPE_CHECKING:
    from manifold3d import CrossSection

Point = tuple[float, float]

_HOLLOW = 3.0  # half the least width of a sparse inside, in spacings


@dataclass(frozen=True)
class Ground:
    """What the guide of a piece says of one layer.

    `islands` in printing order; an area that holds no island's centre is not measured and is
    laid in one visit before them, its seams nearest to `seam_mm`. `axes` are straight lines
    along which single beads may lie.
    """

    walls: int
    axes: tuple[Axis, ...] = ()
    islands: tuple[Island, ...] = ()
    seam_mm: Point = (0.0, 0.0)


@dataclass(frozen=True)
class Bead:
    """The bead that a whole piece is laid with, and how sparse its inside is."""

    width_mm: float
    layer_mm: float
    inside_share: float

    @property
    def apart_mm(self) -> float:
        """Distance of neighbours."""
        return spacing_mm(self.width_mm, self.layer_mm)


@dataclass(frozen=True)
class Layerer:
    """Lays areas of one layer: where its inside may be sparse, and at which angle.

    `known` keeps walls for other layers of the same piece.
    """

    bead: Bead
    ground: Ground
    inner: CrossSection
    angle_deg: float
    known: dict[Hashable, tuple[list[Stroke], CrossSection]]

    def lay(self, area: CrossSection) -> tuple[Visit, ...]:
        """All strokes of a layer with this cross-section."""
        parts = sorted(area.decompose(), key=lambda part: (part.bounds()[1], part.bounds()[0]))
        visits = []
        for island in self.ground.islands:
            own = [part for part in parts if _holds(part, island.centre_mm)]
            parts = [part for part in parts if not _holds(part, island.centre_mm)]
            strokes = [stroke for part in own for stroke in self._part(part, island)]
            if strokes:
                visits.append(Visit(tuple(strokes), island))
        strokes = [stroke for part in parts for stroke in self._part(part, None)]
        if strokes:
            visits.insert(0, Visit(tuple(strokes)))
        return tuple(visits)

    def _part(self, area: CrossSection, island: Island | None) -> list[Stroke]:
        """One connected area: walls first, then skins, then the inside."""
        bead = self.bead
        if island is not None and island.width_mm is not None:
            bead = replace(bead, width_mm=island.width_mm)
        apart = bead.apart_mm
        walled, left = self._walls(area, island, bead)
        units = [[stroke] for stroke in walled]
        if not left.is_empty():
            # A small hollow saves nothing and frays the closed area round it.
            hollow = self.inner
            if not hollow.is_empty():
                hollow = opened(left ^ hollow, _HOLLOW * apart)
            for part in opened(left - hollow, apart / 2).decompose():
                units += self._filled(part, 1.0)
            for part in hollow.decompose():
                units += self._filled(part, self.bead.inside_share)
        if island is None or island.doors_mm is None:
            outermost = sum(stroke.kind == walled[0].kind for stroke in walled) if island else 1
            units = [*units[:outermost], *tour(units[outermost:], units[0][-1].points_mm[-1])]
        return [stroke for unit in units for stroke in unit]

    def _walls(
        self, area: CrossSection, island: Island | None, bead: Bead
    ) -> tuple[list[Stroke], CrossSection]:
        """Walls of one area, laid out once however many layers have it."""
        outline = b"|".join(polygon.tobytes() for polygon in area.to_polygons())
        key = (outline, island, bead, self.ground.walls, self.ground.axes, self.ground.seam_mm)
        if key not in self.known:
            self.known[key] = walls(
                area,
                count=self.ground.walls,
                width_mm=bead.width_mm,
                apart_mm=bead.apart_mm,
                seam_mm=self.ground.seam_mm if island is None else island.seam_mm,
                axes=self.ground.axes,
                outer="wall" if island is None else "measured",
            )
        return self.known[key]

    def _filled(self, area: CrossSection, share: float) -> list[list[Stroke]]:
        """Straight beads in runs, each a unit. In a closed area their width takes up what a
        whole number leaves; a sparse run is one stroke, its turns laid too.
        """
        if area.is_empty():
            return []
        apart = self.bead.apart_mm
        chains, step = runs(area.to_polygons(), self.angle_deg, apart / share)
        chains = _near_first(chains)
        if share < 1:
            return [[Stroke(chain, self.bead.width_mm, "fill")] for chain in chains]
        width = self.bead.width_mm + step - apart
        return [
            [Stroke(chain[k : k + 2], width, "fill") for k in range(0, len(chain), 2)]
            for chain in chains
        ]


def angle_deg(rank: int) -> float:
    """Angle of the fill on a layer."""
    return ANGLES_DEG[rank % len(ANGLES_DEG)]


def _near_first(chains: Sequence[Points]) -> list[Points]:
    """Each run after the one whose end is nearest, so that travel stays short."""
    rest = list(chains)
    ordered = rest[:1]
    del rest[:1]
    while rest:
        end = ordered[-1][-1]
        best = min(range(len(rest)), key=lambda k: float(((rest[k][0] - end) ** 2).sum()))
        ordered.append(rest.pop(best))
    return ordered


def tour(units: Sequence[list[Stroke]], at: Points) -> list[list[Stroke]]:
    """Units in an order of short travel: always the nearest next, begun at its nearer end."""
    rest, ordered = list(units), []
    while rest:
        best = min(range(len(rest)), key=lambda k: _distance(rest[k], at))
        unit = _begun(rest.pop(best), at)
        ordered.append(unit)
        at = unit[-1].points_mm[-1]
    return ordered


def _distance(unit: list[Stroke], at: Points) -> float:
    first, last = unit[0].points_mm, unit[-1].points_mm
    ends = first if _closed(unit) else np.stack([first[0], last[-1]])
    return float(((ends - at) ** 2).sum(axis=1).min())


def _begun(unit: list[Stroke], at: Points) -> list[Stroke]:
    """The unit from its end nearest to a place; a closed one from there all the way round."""
    if _closed(unit):
        loop = unit[0].points_mm[:-1]
        points = started(loop, (float(at[0]), float(at[1])))
        return [replace(unit[0], points_mm=points)]
    near, far = ((unit[k].points_mm[k] - at) for k in (0, -1))
    if float(near @ near) <= float(far @ far):
        return unit
    return [replace(stroke, points_mm=stroke.points_mm[::-1]) for stroke in reversed(unit)]


def _closed(unit: list[Stroke]) -> bool:
    points = unit[0].points_mm
    return len(unit) == 1 and len(points) > 3 and bool(np.array_equal(points[0], points[-1]))


def _holds(area: CrossSection, centre: Point) -> bool:
    """Whether an island's centre lies within the area's outline, holes counted as inside."""
    low_x, low_y, high_x, high_y = area.bounds()
    return bool(low_x < centre[0] < high_x and low_y < centre[1] < high_y)
