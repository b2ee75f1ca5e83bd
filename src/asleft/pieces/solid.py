"""The solids of the pieces, and of the span piece the shape itself: posts on ribs, marks, column.

Not the files (`stl`, `threemf`) and not the drawings. The library for solids is imported inside,
so that readings and drawings start fast. Stands on `span`, `round_solid`, `marks` and `mesh`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType
from typing import TYPE_CHECKING

from asleft.errors import InputError
from asleft.pieces import lettering
from asleft.pieces.bead import BeadPiece
from asleft.pieces.fitting import FitPiece
from asleft.pieces.marks import MARK_MM, PLATE_MM, Leg, legs, letters, stroke_mm
from asleft.pieces.mesh import Mesh, welded
from asleft.pieces.round_solid import bead_solid, fit_solids
from asleft.pieces.span import SpanPiece

if TYPE_CHECKING:
    from manifold3d import CrossSection, Manifold

Piece = SpanPiece | BeadPiece | FitPiece

_EDGE_MM = 1.0  # round the letters, on the plate


@lru_cache(maxsize=1)  # its files and its path are made of the same
def solids(piece: Piece) -> Mapping[str, Manifold]:
    """The bodies of a piece by name, in its own frame; of a span piece `span`, then `column`.

    Raises:
        InputError: the mark is too long, or has signs that cannot be raised.
    """
    if isinstance(piece, BeadPiece):
        return MappingProxyType({"bead": bead_solid(piece)})
    if isinstance(piece, FitPiece):
        made = enumerate(fit_solids(piece), start=1)
        return MappingProxyType({f"fit {n}": body for n, body in made})
    found = {"span": _ribs(piece) + _posts(piece) + _plates(piece)}
    if piece.column_heights_mm:
        found["column"] = _column(piece)
    return MappingProxyType(found)


def bodies(piece: Piece) -> tuple[Mesh, ...]:
    """The closed meshes of the piece's bodies.

    Raises:
        InputError: as `solids`.
    """
    return tuple(_mesh(name, solid) for name, solid in solids(piece).items())


def mark_room(piece: SpanPiece) -> int:
    """How many letters the front plate has room for after its axis."""
    inner = piece.pitch_mm - 2 * (lettering.HEIGHT_MM + 3 * _EDGE_MM) - piece.post_mm - 4
    return max(0, int(inner / lettering.ADVANCE_MM) - 3)


def plate_legs(piece: SpanPiece) -> tuple[list[Leg], list[Leg]]:
    """Strokes of the letters along the front rib and along the right one."""
    front = _legs(piece, _front_text(piece))
    right = [tuple((-y, x) for x, y in leg) for leg in _legs(piece, "Y>")]
    return front, right  # type: ignore[return-value]


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
    """Four sides and both diagonals, from post centre to post centre, raised in their middles."""
    low: list[CrossSection] = []
    high: list[CrossSection] = []
    half, diagonal = piece.pitch_mm / 2, piece.pitch_mm * math.sqrt(2)
    sides = [(0.0, (0.0, -half)), (0.0, (0.0, half)), (90.0, (-half, 0.0)), (90.0, (half, 0.0))]
    ways = [(piece.pitch_mm, piece.side_beads, *side) for side in sides]
    ways += [(diagonal, piece.diagonal_beads, turn, (0.0, 0.0)) for turn in (45.0, -45.0)]
    for length, beads, turn, to in ways:
        ends, middle = _rib(piece, length, beads)
        low += [part.rotate(turn).translate(to) for part in ends]
        high.append(middle.rotate(turn).translate(to))
    ribs: Manifold = _together([*low, *high]).extrude(piece.base_height_mm)
    if piece.is_raised:
        ribs += _together(high).extrude(piece.middle_height_mm)
    return ribs


def _rib(piece: SpanPiece, length: float, beads: int) -> tuple[list[CrossSection], CrossSection]:
    """What is low of one rib along X, and its middle; a plain one is all middle."""
    from manifold3d import CrossSection

    wide = piece.rib_mm(beads)
    if not piece.is_raised:
        return [], CrossSection.square((length, wide), True)
    end = CrossSection.square((piece.low_mm, wide), True)
    away = (length - piece.low_mm) / 2
    slim = piece.rib_mm(piece.middle_beads)
    # Edges that only touch may come apart: one strip runs through all.
    strip = CrossSection.square((length, min(wide, slim)), True)
    middle = CrossSection.square((length - 2 * piece.low_mm, slim), True)
    return [strip, end.translate((-away, 0)), end.translate((away, 0))], middle


def _together(parts: list[CrossSection]) -> CrossSection:
    from manifold3d import CrossSection, OpType

    return CrossSection.batch_boolean(parts, OpType.Add)


def _front_text(piece: SpanPiece) -> str:
    return f"X> {piece.mark}".rstrip()


def _plates(piece: SpanPiece) -> Manifold:
    """X and the mark along the front rib, Y along the right one; arrows point to plus."""
    unknown = lettering.unknown_signs(piece.mark)
    if unknown or len(piece.mark) > mark_room(piece):
        raise InputError(
            f"the mark {piece.mark!r} cannot be raised on this piece",
            hint=f"There is room for {mark_room(piece)} letters A to Z, digits and - . / +.",
            where="mark",
        )
    front = _plate(piece, _front_text(piece))
    return front + _plate(piece, "Y>").rotate((0, 0, 90))


def _legs(piece: SpanPiece, text: str) -> list[Leg]:
    """Strokes of a text inside the front rib, centred on X = 0."""
    stroke = stroke_mm(piece.line_width_mm, piece.layer_mm)
    left = -lettering.width_mm(text) / 2 + stroke / 2
    rib = -piece.pitch_mm / 2
    depth = piece.rib_mm(piece.side_beads) / 2 + lettering.HEIGHT_MM + 3 * _EDGE_MM
    return legs(text, left, rib + depth - _EDGE_MM - stroke / 2 - lettering.HEIGHT_MM + 0.4)


def _plate(piece: SpanPiece, text: str) -> Manifold:
    """A plate with letters, on the inside of the front rib, centred on X = 0."""
    from manifold3d import CrossSection

    width = lettering.width_mm(text) + 2 * _EDGE_MM
    rib = -piece.pitch_mm / 2
    depth = piece.rib_mm(piece.side_beads) / 2 + lettering.HEIGHT_MM + 3 * _EDGE_MM
    ground = CrossSection.square((width, depth)).translate((-width / 2, rib)).extrude(PLATE_MM)
    stroke = stroke_mm(piece.line_width_mm, piece.layer_mm)
    raised: Manifold = letters(_legs(piece, text), stroke).extrude(PLATE_MM + MARK_MM)
    result: Manifold = ground + raised
    return result


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
