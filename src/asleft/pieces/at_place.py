"""A small drawing of one place on a span piece: where the jaws go now, and which number it is.

The same views as on the paper drawing, with one place alone. Not for the other pieces, whose
places are told in words. Stands on `views`.
"""

from __future__ import annotations

import math

from asleft.errors import InputError
from asleft.pieces import views
from asleft.pieces.place import Place
from asleft.pieces.sheet import Point, Sheet
from asleft.pieces.span import SpanPiece

_PLAN_MM = 84.0  # of paper, with room for broad jaws and their size
_COLUMN_MM = (80.0, 62.0)


def place_svg(label: str, direction: str, faces: str, nominal_mm: float) -> str | None:
    """One place of a span piece as SVG; None where no piece of ours has such a place.

    Args:
        label: the place's number on the drawing.
        direction: `X`, `Y`, `XY+`, `XY-` or `Z`, as in a readings file.
        faces: `outside` or `inside`.
        nominal_mm: the drawn distance of the faces; the piece's pitch follows from it.
    """
    try:
        piece = _piece(direction, faces, nominal_mm)
    except InputError:
        return None
    place = next(
        (p for p in piece.places() if (p.label, p.direction, p.faces) == (label, direction, faces)),
        None,
    )
    if place is None:
        return None
    return _column(piece, place) if direction == "Z" else _plan(piece, place)


def _piece(direction: str, faces: str, nominal_mm: float) -> SpanPiece:
    usual = SpanPiece()
    if direction == "Z":
        return usual
    post = usual.post_mm if faces == "outside" else -usual.post_mm
    pitch = nominal_mm - post
    if direction.startswith("XY"):
        pitch = (nominal_mm - post) / math.sqrt(2)
    return SpanPiece(pitch_mm=round(pitch, 2))


def _plan(piece: SpanPiece, place: Place) -> str:
    sheet = Sheet(_PLAN_MM, _PLAN_MM, f"Place {place.label}: {place.where}")
    scale = views.PLAN / (piece.pitch_mm + piece.post_mm)
    middle = _PLAN_MM / 2

    def paper(x: float, y: float) -> Point:
        return middle + x * scale, middle - y * scale

    views.piece_from_above(sheet, piece, paper, scale)
    views.row_of_jaws(sheet, piece, paper, scale, [place])
    return sheet.svg()


def _column(piece: SpanPiece, place: Place) -> str:
    sheet = Sheet(*_COLUMN_MM, f"Place {place.label}: {place.where}")
    views.column_from_side(sheet, piece, (12.0, 52.0), 42.0, only=place.label)
    return sheet.svg()
