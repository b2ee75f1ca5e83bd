"""The solid holds what figures of circles, octagons and strokes say it must: to 0.05 %."""

from __future__ import annotations

import itertools
import math

import pytest
import shapely
import shapely.ops
import trimesh

from asleft.pieces import FitPiece, SpanPiece
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
    return PLATE_MM * (2 * half * back - disc) + RAISED_MM * text_mm2(str(number))


def text_mm2(text):
    """Letters drawn with an eight-sided pen, its flats at the sides, two beads of 0.45 wide."""
    wide = rib_mm(2, 0.45, 0.2)
    turns = [(n + 0.5) * math.pi / 4 for n in range(8)]
    half = wide / 2 / math.cos(math.pi / 8)
    pen = [(half * math.cos(a), half * math.sin(a)) for a in turns]
    parts = []
    for stroke in strokes_mm(text):
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


def octagon(across, x, y):
    """Flats towards the axes and the diagonals."""
    reach = across / 2 / math.cos(math.pi / 8)
    turns = [(n + 0.5) * math.pi / 4 for n in range(8)]
    return shapely.Polygon([(x + reach * math.cos(a), y + reach * math.sin(a)) for a in turns])


def span_mm2(piece, z):
    """Area of the square at a height: posts on their feet, ribs, plates; letters not counted."""
    half, low = piece.pitch_mm / 2, 18.0  # a rib is low and wide so far from a post's centre
    back = 2 * 0.5 * max(0.0, 1 - z)
    corners = [(-half, -half), (half, -half), (half, half), (-half, half)]
    parts = [octagon(piece.post_mm - back, x, y) for x, y in corners]
    for a, b in ((0, 1), (1, 2), (2, 3), (3, 0), (0, 2), (1, 3)):
        way = shapely.LineString([corners[a], corners[b]])
        ends, middle = piece.rib_mm(4) / 2, piece.rib_mm(2) / 2
        slim = shapely.ops.substring(way, low, way.length - low)
        if z < 15:
            parts.append(slim.buffer(middle, cap_style="flat"))
        if z < 9:
            for near in ((0, low), (way.length - low, way.length)):
                end = shapely.ops.substring(way, *near)
                parts.append(end.buffer(ends, cap_style="flat"))
    if z < PLATE_MM:
        deep, wide = piece.rib_mm(4) / 2 + 5 + 3 * EDGE_MM, 2 * ADVANCE_MM + 2 * EDGE_MM
        parts.append(shapely.box(-wide / 2, -half, wide / 2, -half + deep))
        parts.append(shapely.box(half - deep, -wide / 2, half, wide / 2))
    return shapely.union_all(parts).area


def slab_mm3(area_mm2, low, high):
    """Between two heights where edges are straight: Simpson's rule is exact for squares."""
    middle = (low + high) / 2
    inside = 1e-9  # a step belongs to what is below it
    ends = area_mm2(low + inside) + area_mm2(high - inside)
    return (ends + 4 * area_mm2(middle)) * (high - low) / 6


def test_the_square_and_the_column_hold_what_their_cuts_hold():
    piece = SpanPiece()
    steps = (0.0, 1.0, PLATE_MM, 9.0, 15.0)
    square = sum(
        slab_mm3(lambda z: span_mm2(piece, z), low, high) for low, high in itertools.pairwise(steps)
    )
    square += RAISED_MM * (text_mm2("X>") + text_mm2("Y>"))

    def foot(z):
        return (12 - (1 - z)) * (24 - (1 - z))

    column = slab_mm3(foot, 0.0, 1.0) + 12 * (24 * 19 + 16 * 40 + 8 * 40)
    found = [trimesh.Trimesh(m.vertices_mm, m.faces, process=False) for m in bodies(piece)]
    assert all(body.is_watertight for body in found)
    assert [body.volume for body in found] == pytest.approx([square, column], rel=5e-4)
