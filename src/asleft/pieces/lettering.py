"""Plain stroke letters to be raised on a piece: capitals, digits and a few signs.

Not for drawings, which use type. Each glyph is a set of polylines on a grid two wide and four
high, drawn for strokes of two beads. Stands on nothing.
"""

from __future__ import annotations

Stroke = list[tuple[float, float]]

HEIGHT_MM = 5.0
ADVANCE_MM = 4.2
_CELL_X_MM = 1.45
_CELL_Y_MM = HEIGHT_MM / 4

_GLYPHS = {
    "A": "00 03 14 23 20;01 21",
    "B": "00 04 14 23 12 02;12 21 10 00",
    "C": "23 14 04 00 10 21",
    "D": "00 04 14 23 21 10 00",
    "E": "24 04 00 20;02 12",
    "F": "24 04 00;02 12",
    "G": "24 04 00 20 22 12",
    "H": "00 04;20 24;02 22",
    "I": "10 14",
    "J": "24 21 10 01",
    "K": "00 04;24 02 20",
    "L": "04 00 20",
    "M": "00 04 12 24 20",
    "N": "00 04 20 24",
    "O": "00 04 24 20 00",
    "P": "00 04 24 22 02",
    "Q": "00 04 24 20 00;11 20",
    "R": "00 04 24 22 02;12 20",
    "S": "24 04 02 22 20 00",
    "T": "04 24;14 10",
    "U": "04 00 20 24",
    "V": "04 10 24",
    "W": "04 00 12 20 24",
    "X": "00 24;04 20",
    "Y": "04 12 24;12 10",
    "Z": "04 24 00 20",
    "0": "00 04 24 20 00;00 24",
    "1": "03 14 10",
    "2": "04 24 22 02 00 20",
    "3": "04 24 20 00;02 22",
    "4": "04 02 22;24 20",
    "5": "24 04 02 22 20 00",
    "6": "24 04 00 20 22 02",
    "7": "04 24 10",
    "8": "00 04 24 20 00;02 22",
    "9": "22 02 04 24 20 00",
    "-": "02 22",
    ".": "10 11",
    "/": "00 24",
    "+": "02 22;11 13",
    ">": "02 22;13 22 11",
    " ": "",
}


def unknown_signs(text: str) -> str:
    """Those signs of a text, once each, that cannot be raised on a piece."""
    return "".join(sorted({sign for sign in text.upper() if sign not in _GLYPHS}))


def width_mm(text: str) -> float:
    """Width of a line of letters, with one advance for each."""
    return ADVANCE_MM * len(text)


def strokes_mm(text: str) -> list[Stroke]:
    """Polylines of a text from the origin to the right, baseline at y = 0, in mm.

    Small letters become capitals; signs without a glyph are left out.
    """
    found: list[Stroke] = []
    for column, sign in enumerate(text.upper()):
        for line in filter(None, _GLYPHS.get(sign, "").split(";")):
            found.append(
                [
                    (column * ADVANCE_MM + int(at[0]) * _CELL_X_MM, int(at[1]) * _CELL_Y_MM)
                    for at in line.split()
                ]
            )
    return found
