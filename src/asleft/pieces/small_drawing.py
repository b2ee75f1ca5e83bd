"""The drawings of the bead piece and the fit piece: one A4 sheet each, filled in by pen.

The numbers are those of `places`, in measuring order. Stands on `sheet`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from asleft.pieces.bead import BeadPiece
from asleft.pieces.fitting import FitPiece
from asleft.pieces.sheet import BOLD, FINE, LARGE, LINE, PLAIN, SMALL, Point, Sheet

_LEFT, _RIGHT = 12.0, 198.0
_ROW_MM = 6.1
_BEAD_NOTES = (
    "Hot parts burn: let the bed go cold, lift the ring off",
    "and wait until it is as cold as the room.",
    "One jaw inside, one outside, on the middle of a flat,",
    "never at a corner: the seam is there.",
    "Touch the middle of the grey part of each band.",
    "So light that the wall does not bend; three times, the middle one.",
    "Clear stray threads first. If you have a balance, weigh the whole ring.",
)
_FIT_NOTES = (
    "Hot parts burn: let the bed go cold, lift the bodies off, wait 30 minutes.",
    "Measure your shaft or bearing where it will run, and write its size above.",
    "Notch and flat are in front: the seam lies there. Number behind.",
    "Clear threads and burrs, push straight, do not force and do not turn it in.",
    "Begin with the loosest. Mark one word a line:",
    "refuses: does not go in · turns: goes in and turns without play · loose: has play.",
)


def bead_drawing_svg(piece: BeadPiece) -> str:
    """The bead piece's sheet as SVG, 210 mm by 297 mm, black on white."""
    sheet = Sheet(210, 297, f"Bead piece {piece.flats_mm:g} mm")
    about = (
        f"{piece.flats_mm:g} mm over the flats of the middle line, layers of {piece.layer_mm:g} mm."
        " All sizes in mm."
    )
    _head(sheet, "Bead piece", about, ("machine", "instrument", "filament", "date"))
    sheet.text((58, 40), "from above, the wall drawn thicker", SMALL, anchor="middle")
    ring(sheet, piece, (58.0, 84.0))
    sheet.text((140, 40), "the wall cut across, wider than true", SMALL, anchor="middle")
    bands(sheet, piece, (140.0, 118.0))
    for row, note in enumerate(_BEAD_NOTES):
        sheet.text((_LEFT, 142 + row * 4.7), note, SMALL)
    sheet.text((130, 142 + 6 * 4.7), "mass, g", SMALL)
    sheet.line((143, 142.4 + 6 * 4.7), (_RIGHT, 142.4 + 6 * 4.7), FINE)
    rows = [(place.label, place.where, f"{place.nominal_mm:.3f}", "") for place in piece.places()]
    _table(sheet, rows, (8.0, 48.0, 15.0), ("no.", "where", "drawn", "read"), 186.0)
    return sheet.svg()


def fit_drawing_svg(piece: FitPiece) -> str:
    """The fit piece's sheet as SVG, 210 mm by 297 mm, black on white."""
    sheet = Sheet(210, 297, f"Fit piece for {piece.gauge_mm:g} mm")
    about = f"for {piece.gauge_mm:g} mm, steps of {piece.step_mm:g} mm. All sizes in mm."
    _head(sheet, "Fit piece", about, ("machine", "your part", "filament", "date"))
    layout(sheet, piece, (105.0, 88.0))
    for row, note in enumerate(_FIT_NOTES):
        sheet.text((_LEFT, 146 + row * 4.7), note, SMALL)
    rows = []
    for place in piece.places():
        what, play = place.where.split(", ")
        rows.append((place.label, what.split()[0], f"{place.nominal_mm:.2f}", play.split()[0]))
    _table(
        sheet,
        rows,
        (8.0, 12.0, 15.0, 14.0),
        ("no.", "body", "drawn", "play", "refuses / turns / loose"),
        182.0,
    )
    return sheet.svg()


def _head(sheet: Sheet, title: str, about: str, blanks: Sequence[str]) -> None:
    sheet.text((_LEFT, 18), title, LARGE, bold=True)
    sheet.text((_LEFT + 36, 18), about, PLAIN)
    sheet.line((_LEFT, 20.5), (_RIGHT, 20.5), BOLD)
    width = (_RIGHT - _LEFT) / len(blanks)
    for rank, word in enumerate(blanks):
        x = _LEFT + rank * width
        sheet.text((x, 28), word, SMALL)
        sheet.line((x + len(word) * 1.45 + 1, 28.4), (x + width - 4, 28.4), FINE)


def ring(sheet: Sheet, piece: BeadPiece, centre: Point) -> None:
    """From above, with jaws on the four flats that are read, and their numbers."""
    scale = 62.0 / piece.flats_mm
    wall = max(piece.widths_mm[0] * scale, 1.6)  # a wall to scale would be a line

    def outline(across: float) -> list[Point]:
        return [(centre[0] + x, centre[1] - y) for x, y in piece.octagon_mm(across)]

    sheet.shape(outline(piece.flats_mm * scale + wall), width=LINE, kind="wall")
    sheet.shape(outline(piece.flats_mm * scale - wall), width=LINE, kind="wall")
    ways = {"front": (0, 1), "right": (1, 0), "back": (0, -1), "left": (-1, 0)}
    half = piece.flats_mm * scale / 2
    for flat, (wx, wy) in ways.items():
        labels = [p.label for p in piece.places() if p.where.startswith(flat)]
        for sign in (1, -1):
            off = half + sign * wall / 2
            tip = (centre[0] + wx * off, centre[1] + wy * off)
            _jaw(sheet, tip, (wx * sign, wy * sign), outside=sign > 0)
        at = (centre[0] + wx * (half - 14), centre[1] + wy * (half - 12))
        sheet.tag(at, " · ".join(labels), dark=True)
        sheet.text((at[0], at[1] + 5), flat, SMALL, anchor="middle")


def _jaw(sheet: Sheet, tip: Point, way: Point, *, outside: bool) -> None:
    """One of the two jaws at a wall: both dark and broad, as outside jaws are."""
    side = (-way[1], way[0])
    deep = 4.0 if outside else 3.0
    corners = [
        (tip[0] + way[0] * d + side[0] * s, tip[1] + way[1] * d + side[1] * s)
        for d, s in ((0, -1.6), (0, 1.6), (deep, 1.6), (deep, -1.6))
    ]
    sheet.shape(corners, fill="#000", width=FINE, kind="jaw-outside")


def bands(sheet: Sheet, piece: BeadPiece, foot: Point) -> None:
    """The wall cut across: bands with drawn widths, and the grey part that jaws touch."""
    high = 76.0 / piece.tallest_mm
    wide = 30.0
    for rank, width in enumerate(piece.widths_mm):
        low = foot[1] - rank * piece.band_mm * high
        top = low - piece.band_mm * high
        half = wide * width / 2
        box = [(foot[0] - half, low), (foot[0] + half, low), (foot[0] + half, top)]
        sheet.shape([*box, (foot[0] - half, top)], width=BOLD, kind="band-outline")
        third = (low - top) / 3
        grey = [(foot[0] - half, low - third), (foot[0] + half, low - third)]
        grey += [(foot[0] + half, top + third), (foot[0] - half, top + third)]
        sheet.shape(grey, fill="#ddd", width=FINE, kind="band")
        middle = (low + top) / 2
        sheet.text((foot[0], middle + 0.9), f"{width:g}", SMALL, anchor="middle", kind="size")
        up = f"{(rank + 0.5) * piece.band_mm:g} up"
        sheet.text((foot[0] + wide / 2 + 3, middle + 0.9), up, SMALL)
    sheet.line((foot[0] - 20, foot[1]), (foot[0] + 24, foot[1]), LINE)
    sheet.text((foot[0] - 20, foot[1] + 3.4), "bed", SMALL)


def layout(sheet: Sheet, piece: FitPiece, middle: Point) -> None:
    """All bodies from above as they lie on the bed, numbered; outline and touched circle."""
    wide, deep = piece.extent_mm
    scale = min(178.0 / wide, 92.0 / deep, 3.0)

    def paper(x: float, y: float) -> Point:
        return middle[0] + x * scale, middle[1] - y * scale

    tab_wide, tab_deep = piece.tab_mm
    sizes = (*piece.bores, *piece.pins)
    for number, ((x, y), size) in enumerate(zip(piece.centres_mm(), sizes, strict=True), start=1):
        reach = size / 2 + piece.collar_mm
        is_bore = number <= len(piece.bores)
        tab = [(x - tab_wide / 2, y), (x + tab_wide / 2, y)]
        tab += [(x + tab_wide / 2, y + reach + tab_deep), (x - tab_wide / 2, y + reach + tab_deep)]
        sheet.shape([paper(*p) for p in tab], width=LINE, kind="tab")
        if is_bore:
            _collar(sheet, paper, piece, (x, y), size)
        else:
            sheet.shape(_circle(paper, x, y, reach), width=LINE, kind="body")
            sheet.shape(_pin(paper, piece, (x, y), size), fill="#ddd", width=BOLD, kind="pin")
        at = paper(x, y + reach + tab_deep / 2)
        below = (at[0], at[1] + 0.9)
        sheet.text(below, str(number), PLAIN, anchor="middle", bold=True, kind="label")
    words = {"bores": "bores, white", "pins": "pins, grey", "both": "bores white, pins grey"}
    legend = f"from above as they lie on the bed: {words[piece.parts]}"
    sheet.text((middle[0], middle[1] + 50), legend, SMALL, anchor="middle")


def _collar(
    sheet: Sheet,
    paper: Callable[[float, float], Point],
    piece: FitPiece,
    at: Point,
    size_mm: float,
) -> None:
    """Ring and bore, each with the bulge in front that the notch makes: outlines, then fields."""
    x, y = at
    radius, relief = size_mm / 2, piece.relief_mm
    for wider, width, kind in ((piece.collar_mm, LINE, "body"), (0.0, BOLD, "bore")):
        round_part = _circle(paper, x, y, radius + wider)
        bulge = _circle(paper, x, y - radius, relief + wider)
        sheet.shape(round_part, width=2 * width, kind=kind)
        sheet.shape(bulge, width=2 * width, kind="notch")
        sheet.shape(round_part, width=0)
        sheet.shape(bulge, width=0)


def _pin(
    paper: Callable[[float, float], Point], piece: FitPiece, at: Point, size_mm: float
) -> list[Point]:
    """A circle whose front is cut off flat."""
    flat = -size_mm / 2 + piece.relief_mm
    turns = [math.pi * n / 36 for n in range(72)]
    round_part = [(size_mm / 2 * math.cos(a), size_mm / 2 * math.sin(a)) for a in turns]
    return [paper(at[0] + x, at[1] + max(y, flat)) for x, y in round_part]


def _circle(
    paper: Callable[[float, float], Point], x: float, y: float, radius: float
) -> list[Point]:
    turns = [math.pi * n / 24 for n in range(48)]
    return [paper(x + radius * math.cos(a), y + radius * math.sin(a)) for a in turns]


def _table(
    sheet: Sheet,
    rows: Sequence[Sequence[str]],
    widths: Sequence[float],
    names: Sequence[str],
    top: float,
) -> None:
    """Two blocks side by side, the last column blank for the pen."""
    half = (len(rows) + 1) // 2
    step = min(_ROW_MM, (285.0 - top) / half)
    for block, part in enumerate((rows[:half], rows[half:])):
        left = _LEFT + block * 95.0
        right = left + 91.0
        at = [left + sum(widths[:k]) for k in range(len(widths) + 1)]
        for x, name in zip(at, names, strict=True):
            sheet.text((x + 1, top), name, SMALL, bold=True)
        sheet.line((left, top + 1.6), (right, top + 1.6), BOLD)
        for rank, row in enumerate(part, start=1):
            y = top + rank * step
            sheet.line((left, y + 1.6), (right, y + 1.6), FINE)
            for k, value in enumerate(row[: len(widths)]):
                kind = {"no.": "row-label", "drawn": "row-size"}.get(names[k], "")
                sheet.text((at[k] + 1, y), value, SMALL, bold=k == 0, kind=kind)
            sheet.line((at[-1] - 0.5, y - step + 2.4), (at[-1] - 0.5, y + 1.6), LINE)
