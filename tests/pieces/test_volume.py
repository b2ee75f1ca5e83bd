"""The solid holds what figures of circles, octagons and strokes say it must: to 0.05 %."""

from __future__ import annotations

import itertools
import math

import pytest
import shapely
import trimesh

from asleft.pieces import FitPiece
from asleft.pieces.lettering import ADVANCE_MM, strokes_mm
from asleft.pieces.rib import rib_mm
from asleft.pieces.solid import bodies

PLATE_MM, RAISED_MM, EDGE_MM = 1.2, 0.6, 1.0  # as the drawing of a tab has them


def two_circles_mm2(big, small, apart):
    """Area of two overlapping discs, all in mm (the lens: any table of figures)."""
    x = (apart**2 + big**2 - small**2) / (2 * apart)
    chord = math.sqrt(max(0.0, big**2 - x**2))
    lens = big**2 * math.acos(x / big) + small**2 * math.acos((apart - x) / small) - apart * chord
    return math.pi * (big**2 + small**2) - lens


def tab_mm3(piece, number, reach):
    """A plate from a round body of this radius backwards, and the number raised on it."""
    digits = len(str(len(piece.places())))
    half = (digits * ADVANCE_MM + 2 * EDGE_MM) / 2
    back = reach + 5 + 2 * EDGE_MM
    # Behind the circle: the rectangle less what of it the disc takes (integral of √(R² − x²)).
    disc = half * math.sqrt(reach**2 - half**2) + reach**2 * math.asin(half / reach)
    return PLATE_MM * (2 * half * back - disc) + RAISED_MM * number_mm2(number)


def number_mm2(number):
    """Digits drawn with an eight-sided pen, its flats at the sides, two beads of 0.45 wide."""
    wide = rib_mm(2, 0.45, 0.2)
    turns = [(n + 0.5) * math.pi / 4 for n in range(8)]
    half = wide / 2 / math.cos(math.pi / 8)
    pen = [(half * math.cos(a), half * math.sin(a)) for a in turns]
    parts = []
    for stroke in strokes_mm(str(number)):
        for a, b in itertools.pairwise(stroke):
            dots = [(x + dx, y + dy) for x, y in (a, b) for dx, dy in pen]
            parts.append(shapely.MultiPoint(dots).convex_hull)
    return shapely.union_all(parts).area


def collar_mm3(piece, size, number):
    """A ring with its notch, less the wider rooms of its foot, and its tab."""
    radius, relief = size / 2, piece.relief_mm
    thick = rib_mm(piece.wall_beads, 0.45, 0.2)

    def room(wider):
        return two_circles_mm2(radius + wider, relief + wider, radius)

    foot = sum(room(0.5 * (1 - (n + 0.5) / 5)) for n in range(5)) * 0.2
    upright = room(0.0) * (piece.height_mm - 1)
    return room(thick) * piece.height_mm - foot - upright + tab_mm3(piece, number, radius + thick)


def pin_mm3(piece, size, number):
    """A disc without the segment in front, on a round head with its tab."""
    radius = size / 2
    head = radius + rib_mm(piece.wall_beads, 0.45, 0.2)
    off = radius - piece.relief_mm
    segment = radius**2 * math.acos(off / radius) - off * math.sqrt(radius**2 - off**2)
    shaft = (math.pi * radius**2 - segment) * piece.height_mm
    return math.pi * head**2 * piece.head_mm + shaft + tab_mm3(piece, number, head)


@pytest.mark.parametrize("gauge", [4.0, 8.0, 25.0])
def test_collars_and_pins_hold_what_circles_hold(gauge):
    piece = FitPiece(gauge_mm=gauge, tighter=0, wider=1)
    sizes = [*piece.bores, *piece.pins]
    for number, (mesh, size) in enumerate(zip(bodies(piece), sizes, strict=True), start=1):
        wanted = collar_mm3 if number <= len(piece.bores) else pin_mm3
        body = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False)
        assert body.is_watertight
        assert body.volume == pytest.approx(wanted(piece, size, number), rel=5e-4), number
