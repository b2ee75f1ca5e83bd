"""The drawing of a span piece: one A4 sheet to lie beside the caliper, filled in by pen.

Lays the views out, writes the notes and the table with its blanks. The numbers are those of
`SpanPiece.places`, in measuring order. Stands on `sheet` and `views`.
"""

from __future__ import annotations

from asleft.pieces import views
from asleft.pieces.place import Place
from asleft.pieces.sheet import BOLD, FINE, LARGE, LINE, PLAIN, SMALL, Sheet
from asleft.pieces.span import SpanPiece

_LEFT, _RIGHT = 12.0, 198.0
_NOTES = (
    "Hot parts burn: let the bed go cold, lift the",
    "piece off and wait 30 minutes; warm is long.",
    "Lay it down with X in front, Y to the right.",
    "Jaws flat on the flats, never on corners.",
    "Tips just above the low rib, in the grey band:",
    "first number below its middle, second above.",
    "Light force, the same for both kinds of jaws.",
    "Heights: fixed jaw under the bed face.",
    "Close the jaws now and then: do they read 0?",
)
_COLUMNS = (("no.", 8.0), ("along", 12.0), ("jaws", 15.0), ("where", 23.0), ("drawn", 17.0))
_ROW_MM = 6.1


def drawing_svg(piece: SpanPiece) -> str:
    """The whole sheet as SVG, 210 mm by 297 mm, black on white, type of 2.5 mm and more."""
    sheet = Sheet(210, 297, f"Span piece {piece.pitch_mm:g} mm")
    _head(sheet, piece)
    for x, faces, word in (
        (58.0, "outside", "outside jaws, dark and broad"),
        (152.0, "inside", "inside jaws, white and pointed"),
    ):
        sheet.text((x, 37), word, PLAIN, anchor="middle", bold=True)
        views.plan(sheet, piece, (x, 81), faces)
    views.axes(sheet, (103.0, 118.5))
    views.post_from_side(sheet, piece, (33, 169))
    sheet.text((12, 174.5), "one post from the front, twice its size", SMALL)
    if piece.column_heights_mm:
        views.column_from_side(sheet, piece, (75, 167), 38)
        sheet.text((75, 174.5), "column from the left", SMALL)
    notes = _NOTES if piece.column_heights_mm else _NOTES[:-2] + _NOTES[-1:]
    for row, note in enumerate(notes):
        sheet.text((142, 134 + row * 4.7), note, SMALL)
    _table(sheet, piece.places())
    return sheet.svg()


def _head(sheet: Sheet, piece: SpanPiece) -> None:
    sheet.text((_LEFT, 18), "Span piece", LARGE, bold=True)
    sheet.text(
        (_LEFT + 36, 18),
        f"post centres {piece.pitch_mm:g} mm, posts {piece.post_mm:g} mm over flats, "
        f"layers of {piece.layer_mm:g} mm. All sizes in mm.",
        PLAIN,
    )
    sheet.line((_LEFT, 20.5), (_RIGHT, 20.5), BOLD)
    width = (_RIGHT - _LEFT) / 4
    for rank, word in enumerate(("machine", "instrument", "filament", "date")):
        x = _LEFT + rank * width
        sheet.text((x, 28), word, SMALL)
        sheet.line((x + len(word) * 1.45 + 1, 28.4), (x + width - 4, 28.4), FINE)
    if piece.mark:
        sheet.text((_RIGHT, 18), piece.mark, PLAIN, anchor="end", bold=True)


def _table(sheet: Sheet, places: tuple[Place, ...]) -> None:
    """Two blocks side by side with a blank for each reading."""
    half = (len(places) + 1) // 2
    top = 183.0
    for block, part in enumerate((places[:half], places[half:])):
        left = _LEFT + block * 95.0
        right = left + 91.0
        x = left
        for name, width in (*_COLUMNS, ("read", 0.0)):
            sheet.text((x + 1, top), name, SMALL, bold=True)
            x += width
        sheet.line((left, top + 1.6), (right, top + 1.6), BOLD)
        for row, place in enumerate(part, start=1):
            _line(sheet, place, left, right, top + row * _ROW_MM)


def _line(sheet: Sheet, place: Place, left: float, right: float, y: float) -> None:
    sheet.line((left, y + 1.6), (right, y + 1.6), FINE)
    x = left
    values = (place.label, place.direction, place.faces, _short(place), f"{place.nominal_mm:.3f}")
    for (name, width), value in zip(_COLUMNS, values, strict=True):
        kind = {"no.": "row-label", "drawn": "row-size"}.get(name, "")
        sheet.text((x + 1, y), value, SMALL, bold=name == "no.", kind=kind)
        x += width
    sheet.line((x - 0.5, y - _ROW_MM + 2.4), (x - 0.5, y + 1.6), LINE)


def _short(place: Place) -> str:
    """Where, in two words: the plan shows the rest."""
    if place.direction == "Z":
        land = place.where.split(" land")[0].rsplit(" ", 1)[1]
        return f"{land}, {place.where.rsplit(', ', 1)[1]}"
    height = place.where.rsplit(", ", 1)[1].split()[0]
    row = "diagonal" if place.direction.startswith("XY") else place.where.split()[0]
    return f"{row}, {height}"
