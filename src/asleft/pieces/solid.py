"""The solid of a span piece: posts on a ribbed base, raised marks, a stepped column beside.

Not the files (`stl`, `threemf`) and not the drawing. The library for solids is imported inside,
so that readings and drawings start fast. Stands on `span`, `lettering` and `mesh`.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING

from asleft.errors import InputError
from asleft.pieces import lettering
from asleft.pieces.mesh import Mesh, welded
from asleft.pieces.span import SpanPiece

if TYPE_CHECKING:
    from manifold3d import CrossSection, Manifold

PLATE_MM = 1.2  # thickness of the plates that carry the marks
MARK_MM = 0.6  # how far the marks stand up from them
_EDGE_MM = 1.0  # round the letters, on the plate
_STROKE_MM = 0.9  # two beads of an ordinary nozzle


def bodies(piece: SpanPiece) -> tuple[Mesh, ...]:
    """The closed meshes of the piece, in its own frame: `span`, then `column` if it has one.

    Raises:
        InputError: the mark is too long, or has signs that cannot be raised.
    """
    span = _ribs(piece) + _posts(piece) + _plates(piece)
    found = [_mesh("span", span)]
    if piece.column_heights_mm:
        found.append(_mesh("column", _column(piece)))
    return tuple(found)


def mark_room(piece: SpanPiece) -> int:
    """How many letters the front plate has room for after its axis."""
    inner = piece.pitch_mm - 2 * (lettering.HEIGHT_MM + 3 * _EDGE_MM) - piece.post_mm - 4
    return max(0, int(inner / lettering.ADVANCE_MM) - 3)


def _mesh(name: str, solid: Manifold) -> Mesh:
    shape = solid.to_mesh64()
    return welded(name, shape.vert_properties[:, :3], shape.tri_verts)


def _octagon(width_mm: float) -> CrossSection:
    """An octagon of this width over flats, flats towards X, Y and the diagonals."""
    from manifold3d import CrossSection

    half, short = width_mm / 2, width_mm / 2 * (math.sqrt(2) - 1)
    quarter = [(half, -short), (half, short), (short, half), (-short, half)]
    return CrossSection([quarter + [(-x, -y) for x, y in quarter]])


def _standing(outline: CrossSection, piece: SpanPiece, height_mm: float) -> Manifold:
    """An outline, centred at the origin, drawn up to a height on a foot that is set back."""

    low_x, low_y, high_x, high_y = outline.bounds()
    size_x, size_y = high_x - low_x, high_y - low_y
    back = 2 * piece.foot_mm
    less = ((size_x - back) / size_x, (size_y - back) / size_y)
    foot: Manifold = outline.scale(less).extrude(
        piece.foot_height_mm, scale_top=(1 / less[0], 1 / less[1])
    )
    shaft = outline.extrude(height_mm - piece.foot_height_mm)
    result: Manifold = foot + shaft.translate((0, 0, piece.foot_height_mm))
    return result


def _posts(piece: SpanPiece) -> Manifold:
    from manifold3d import Manifold, OpType

    post = _standing(_octagon(piece.post_mm), piece, piece.post_height_mm)
    half = piece.pitch_mm / 2
    four = [post.translate((sx * half, sy * half, 0)) for sx in (-1, 1) for sy in (-1, 1)]
    return Manifold.batch_boolean(four, OpType.Add)


def _ribs(piece: SpanPiece) -> Manifold:
    """Four sides and both diagonals, from post centre to post centre."""
    from manifold3d import CrossSection, OpType

    pitch, half = piece.pitch_mm, piece.pitch_mm / 2
    side = CrossSection.square((pitch, piece.rib_mm(piece.side_beads)), True)
    cross = CrossSection.square((pitch * math.sqrt(2), piece.rib_mm(piece.diagonal_beads)), True)
    plan = [
        side.translate((0, -half)),
        side.translate((0, half)),
        side.rotate(90).translate((-half, 0)),
        side.rotate(90).translate((half, 0)),
        cross.rotate(45),
        cross.rotate(-45),
    ]
    return CrossSection.batch_boolean(plan, OpType.Add).extrude(piece.base_height_mm)


def _plates(piece: SpanPiece) -> Manifold:
    """X and the mark along the front rib, Y along the right one; arrows point to plus."""
    unknown = lettering.unknown_signs(piece.mark)
    if unknown or len(piece.mark) > mark_room(piece):
        raise InputError(
            f"the mark {piece.mark!r} cannot be raised on this piece",
            hint=f"There is room for {mark_room(piece)} letters A to Z, digits and - . / +.",
            where="mark",
        )
    front = _plate(piece, f"X> {piece.mark}".rstrip())
    return front + _plate(piece, "Y>").rotate((0, 0, 90))


def _plate(piece: SpanPiece, text: str) -> Manifold:
    """A plate with letters, on the inside of the front rib, centred on X = 0."""
    from manifold3d import CrossSection, OpType

    width = lettering.width_mm(text) + 2 * _EDGE_MM
    rib = -piece.pitch_mm / 2
    depth = piece.rib_mm(piece.side_beads) / 2 + lettering.HEIGHT_MM + 3 * _EDGE_MM
    ground = CrossSection.square((width, depth)).translate((-width / 2, rib)).extrude(PLATE_MM)
    dot = CrossSection([_round(_STROKE_MM)])
    left = -width / 2 + _EDGE_MM + _STROKE_MM / 2
    base = rib + depth - _EDGE_MM - _STROKE_MM / 2 - lettering.HEIGHT_MM + 0.4
    legs = [
        CrossSection.batch_hull([dot.translate((left + x, base + y)) for x, y in (a, b)])
        for stroke in lettering.strokes_mm(text)
        for a, b in pairwise(stroke)
    ]
    letters = CrossSection.batch_boolean(legs, OpType.Add)
    raised: Manifold = letters.extrude(PLATE_MM + MARK_MM)
    result: Manifold = ground + raised
    return result


def _round(width_mm: float) -> list[tuple[float, float]]:
    """A dot, eight-sided: smaller than what a nozzle can draw anyway."""
    eighth = math.pi / 4
    return [
        (width_mm / 2 * math.cos(n * eighth), width_mm / 2 * math.sin(n * eighth)) for n in range(8)
    ]


def _column(piece: SpanPiece) -> Manifold:
    """Lands from front to back, the tallest in the middle, each reached from left and right."""
    from manifold3d import CrossSection, Manifold, OpType

    deep = piece.land_mm * len(piece.lands_mm)
    lowest = min(piece.lands_mm)
    outline = CrossSection.square((piece.column_width_mm, deep), True)
    parts = [_standing(outline, piece, lowest)]
    for rank, height in enumerate(piece.lands_mm):
        block = CrossSection.square((piece.column_width_mm, piece.land_mm)).translate(
            (-piece.column_width_mm / 2, rank * piece.land_mm - deep / 2)
        )
        middle = lowest / 2
        parts.append(block.extrude(height - middle).translate((0, 0, middle)))
    x, y = piece.column_origin_mm
    whole: Manifold = Manifold.batch_boolean(parts, OpType.Add)
    return whole.translate((x + piece.column_width_mm / 2, y + deep / 2, 0))
