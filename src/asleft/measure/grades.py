"""Standard tolerance grades of ISO 286-1: widths by size, and the grade that a deviation holds.

A table and two look-ups; no fit system, no letters. The table is normative, the formula behind
it is not.
"""

from __future__ import annotations

from asleft.errors import InputError

# ISO 286-1:2010, Table 1: total widths in µm, IT5 to IT18, for sizes over the row before up to
# and including the first number (mm). IT14 and wider are not used up to 1 mm.
_TABLE = {
    3: (4, 6, 10, 14, 25, 40, 60, 100, 140, 250, 400, 600, 1000, 1400),
    6: (5, 8, 12, 18, 30, 48, 75, 120, 180, 300, 480, 750, 1200, 1800),
    10: (6, 9, 15, 22, 36, 58, 90, 150, 220, 360, 580, 900, 1500, 2200),
    18: (8, 11, 18, 27, 43, 70, 110, 180, 270, 430, 700, 1100, 1800, 2700),
    30: (9, 13, 21, 33, 52, 84, 130, 210, 330, 520, 840, 1300, 2100, 3300),
    50: (11, 16, 25, 39, 62, 100, 160, 250, 390, 620, 1000, 1600, 2500, 3900),
    80: (13, 19, 30, 46, 74, 120, 190, 300, 460, 740, 1200, 1900, 3000, 4600),
    120: (15, 22, 35, 54, 87, 140, 220, 350, 540, 870, 1400, 2200, 3500, 5400),
    180: (18, 25, 40, 63, 100, 160, 250, 400, 630, 1000, 1600, 2500, 4000, 6300),
    250: (20, 29, 46, 72, 115, 185, 290, 460, 720, 1150, 1850, 2900, 4600, 7200),
    315: (23, 32, 52, 81, 130, 210, 320, 520, 810, 1300, 2100, 3200, 5200, 8100),
    400: (25, 36, 57, 89, 140, 230, 360, 570, 890, 1400, 2300, 3600, 5700, 8900),
    500: (27, 40, 63, 97, 155, 250, 400, 630, 970, 1550, 2500, 4000, 6300, 9700),
}
FIRST_GRADE, LAST_GRADE = 5, 18
LARGEST_MM = 500.0


def grade_width_mm(size_mm: float, grade: int) -> float:
    """Total width in mm of tolerance grade IT`grade` at a nominal size.

    Raises:
        InputError: a size that the table does not have, or a grade outside IT5 to IT18.
    """
    if not FIRST_GRADE <= grade <= LAST_GRADE:
        raise InputError(
            f"grade IT{grade} is not in the table",
            hint=f"It has IT{FIRST_GRADE} to IT{LAST_GRADE}.",
            where="grade",
        )
    if not 0 < size_mm <= LARGEST_MM:
        raise InputError(
            f"{size_mm:g} mm is outside the table", hint="It goes up to 500 mm.", where="size"
        )
    row = next(widths for up_to, widths in _TABLE.items() if size_mm <= up_to)
    return row[grade - FIRST_GRADE] / 1000


def grade_for(size_mm: float, deviation_mm: float) -> int | None:
    """The finest grade whose width is no less than twice a largest deviation (≥ 0), or None.

    Twice the deviation, since the sizes may lie to either side: a convention of ours.
    """
    if not 0 < size_mm <= LARGEST_MM:
        return None
    coarsest = 13 if size_mm <= 1 else LAST_GRADE
    for grade in range(FIRST_GRADE, coarsest + 1):
        if grade_width_mm(size_mm, grade) >= 2 * deviation_mm - 1e-12:
            return grade
    return None
