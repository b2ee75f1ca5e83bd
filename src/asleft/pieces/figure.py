"""Where the jaws go on a whole piece, as one figure: the views of its drawing without the table.

For a record, whose own table stands beside it. The numbers are the labels of `places`. Stands on
`views` and the drawings of the small pieces.
"""

from __future__ import annotations

from typing import Any

from asleft.pieces import small_drawing, views
from asleft.pieces.bead import BeadPiece
from asleft.pieces.fitting import FitPiece
from asleft.pieces.place import Place
from asleft.pieces.sheet import PLAIN, SMALL, Sheet
from asleft.pieces.span import SpanPiece

Piece = SpanPiece | BeadPiece | FitPiece

_KINDS: dict[str, type[Piece]] = {"span": SpanPiece, "bead": BeadPiece, "fit": FitPiece}
_WIDE = 186.0  # of paper; type of 2.5 mm stays legible at the width of a page's text


def piece_of(kind: str, parameters: dict[str, Any]) -> Piece:
    """The piece of this kind, `span`, `bead` or `fit`, with these parameters.

    Raises:
        InputError: they make no piece.
        KeyError: there is no such kind.
    """
    return _KINDS[kind].from_dict(parameters)


def places_of(piece: Piece) -> tuple[Place, ...]:
    """The places of a piece, in measuring order."""
    return tuple(piece.places())


def figure_svg(piece: Piece) -> str:
    """All places of a piece with their numbers as SVG, black on white, 186 mm wide."""
    if isinstance(piece, SpanPiece):
        return _span(piece)
    return _bead(piece) if isinstance(piece, BeadPiece) else _fit(piece)


def _span(piece: SpanPiece) -> str:
    tall = bool(piece.column_heights_mm)
    sheet = Sheet(_WIDE, 142 if tall else 96, f"Span piece {piece.pitch_mm:g} mm")
    for x, faces, word in (
        (46.0, "outside", "outside jaws, dark and broad"),
        (140.0, "inside", "inside jaws, white and pointed"),
    ):
        sheet.text((x, 5), word, PLAIN, anchor="middle", bold=True)
        views.plan(sheet, piece, (x, 50), faces)
    views.axes(sheet, (89.0, 90.0))
    if tall:
        sheet.text((8, 99), "the column from the left", PLAIN, bold=True)
        views.column_from_side(sheet, piece, (10, 138), 36)
    return sheet.svg()


def _bead(piece: BeadPiece) -> str:
    sheet = Sheet(_WIDE, 96, f"Bead piece {piece.flats_mm:g} mm")
    sheet.text((46, 4), "from above, the wall drawn thicker", SMALL, anchor="middle")
    small_drawing.ring(sheet, piece, (46.0, 48.0))
    sheet.text((135, 4), "the wall cut across, wider than true", SMALL, anchor="middle")
    small_drawing.bands(sheet, piece, (135.0, 86.0))
    return sheet.svg()


def _fit(piece: FitPiece) -> str:
    sheet = Sheet(_WIDE, 104, f"Fit piece for {piece.gauge_mm:g} mm")
    small_drawing.layout(sheet, piece, (_WIDE / 2, 48.0))
    return sheet.svg()
