"""Walls of an area: closed beads side by side from its edge inwards, and single beads where only
one fits.

Everything is counted in spacings of beads, so that walls fill an area whose width is a whole
number of them. Not for the inside. Stands on `stroke`; offsets by the library for sections.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from asleft.pieces.path.fill import spans_on
from asleft.pieces.path.stroke import Kind, Points, Stroke

if TYPE_CHECKING:
    from manifold3d import CrossSection

_TWO = 0.95  # half the width, in spacings, that a closed wall needs: there and back, less 5 %
_ONE = 0.75  # what is narrower than twice this is one bead's room and not two
_MITRE = 4.0  # corners stay sharp; the library cuts off beyond
_CLOSE_MM = 0.002  # of the outermost: runs shorter than codes can say come out uneven
_COARSE_MM = 0.01  # inner walls are seen by no jaw, and fewer corners print more smoothly
_FINE_MM = 1e-4  # offsets leave edges of this size, which mean nothing

Axis = tuple[tuple[float, float], tuple[float, float]]


def grown(area: CrossSection, by_mm: float) -> CrossSection:
    """The area with its edge moved outwards (inwards if negative), corners kept sharp."""
    from manifold3d import JoinType

    result: CrossSection = area.offset(by_mm, JoinType.Miter, _MITRE).simplify(_FINE_MM)
    return result


def opened(area: CrossSection, radius_mm: float) -> CrossSection:
    """Those parts of the area that are wide enough for a bead of this radius."""
    wide = grown(grown(area, -radius_mm), radius_mm)
    # Where nothing fell away the area itself is truer than what came back.
    return area if area.area() - wide.area() < 1e-3 else wide ^ area


def walls(
    area: CrossSection,
    *,
    count: int,
    width_mm: float,
    apart_mm: float,
    seam_mm: tuple[float, float],
    axes: Sequence[Axis] = (),
    outer: Kind = "wall",
) -> tuple[list[Stroke], CrossSection]:
    """Lay walls from the edge inwards, and single beads along the axes where only one fits.

    Args:
        area: one connected area or several.
        count: closed walls at most.
        width_mm, apart_mm: of the bead, and of neighbours.
        seam_mm: each wall begins at its place nearest to this.
        axes: straight lines along which single beads may lie.
        outer: kind of the outermost wall.

    Returns:
        Strokes in order, outermost first and single beads last; and the area that is left.
    """
    left = grown(area, -(width_mm - apart_mm) / 2)
    strokes: list[Stroke] = []
    single: list[Stroke] = []
    for rank in range(count):
        wide = opened(left, _TWO * apart_mm)
        single += _single(left, wide, axes, width_mm)
        kind: Kind = outer if rank == 0 else "wall"
        ring = grown(wide, -apart_mm / 2)
        loops = ring.simplify(_CLOSE_MM if rank == 0 else _COARSE_MM).to_polygons()
        for loop in sorted(loops, key=lambda p: (-_area(p), float(p[:, 0].min()))):
            strokes.append(Stroke(started(loop, seam_mm), width_mm, kind))
        left = grown(wide, -apart_mm)
    wide = opened(left, _ONE * apart_mm)
    single += _single(left, wide, axes, width_mm)
    return strokes + single, wide


def started(loop: Points, seam_mm: tuple[float, float]) -> Points:
    """A closed outline, (n, 2) to (n + 1 or n + 2, 2), that begins and ends nearest to a place."""
    seam = np.array(seam_mm)
    edges = np.roll(loop, -1, axis=0) - loop
    squares = np.maximum((edges**2).sum(axis=1), 1e-18)
    share = np.clip(((seam - loop) * edges).sum(axis=1) / squares, 0.0, 1.0)
    nearest = loop + share[:, None] * edges
    n = int(np.argmin(np.hypot(*(nearest - seam).T).round(6)))
    begin = nearest[n]
    rest = np.roll(loop, -(n + 1), axis=0)
    if np.hypot(*(rest[0] - begin)) < 1e-3:
        return np.concatenate([rest, rest[:1]])
    if np.hypot(*(rest[-1] - begin)) < 1e-3:
        return np.concatenate([rest[-1:], rest])
    return np.concatenate([begin[None], rest, begin[None]])


def _single(
    area: CrossSection, wide: CrossSection, axes: Sequence[Axis], width_mm: float
) -> list[Stroke]:
    """Beads along those parts of the axes that lie in the area and not in its wide part."""
    if not axes:
        return []
    # Nothing thinner than half a bead is room for one: slivers lie along every filled rib.
    polygons = opened(area - grown(wide, 1e-3), width_mm / 5).to_polygons()
    if not polygons:
        return []
    return [
        Stroke(np.array([a, b]), width_mm, "wall")
        for start, end in axes
        for a, b in spans_on(polygons, np.array(start), np.array(end))
    ]


def _area(polygon: Points) -> float:
    """Signed area: outlines above 0, holes below (shoelace)."""
    x, y = polygon.T
    return float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum() / 2)
