"""Fits that every table book has, by limits of hole and shaft, against grades and allowances.

The limits are those of ISO 286-2 for these sizes, from memory; the clearances follow from them by
subtraction, and the widths stand in the table of ISO 286-1 that `iso286_it_grades.csv` holds.
"""

from __future__ import annotations

import math

import pytest

from asleft.measure import Making, allow, grade_for, grade_width_mm
from asleft.measure.chance import coverage_factor

# name, size (mm), grades of hole and shaft, limits of hole and of shaft (µm)
FITS = [
    ("25 H7/g6", 25.0, (7, 6), (0, 21), (-20, -7)),  # slides: 7 to 41 µm
    ("50 H8/f7", 50.0, (8, 7), (0, 39), (-50, -25)),  # runs: 25 to 89 µm
    ("40 H7/p6", 40.0, (7, 6), (0, 25), (26, 42)),  # pressed: -42 to -1 µm
]
CLEARANCES = {"25 H7/g6": (7, 41), "50 H8/f7": (25, 89), "40 H7/p6": (-42, -1)}


@pytest.mark.parametrize(("name", "size", "grades", "hole", "shaft"), FITS)
def test_a_published_fit(
    name: str,
    size: float,
    grades: tuple[int, int],
    hole: tuple[int, int],
    shaft: tuple[int, int],
) -> None:
    for grade, (low, high) in zip(grades, (hole, shaft), strict=True):
        assert grade_width_mm(size, grade) == (high - low) / 1000
        assert grade_for(size, (high - low) / 2000) == grade
    tight, wide = (each / 1000 for each in CLEARANCES[name])
    assert (tight, wide) == pytest.approx(
        ((hole[0] - shaft[1]) / 1000, (hole[1] - shaft[0]) / 1000)
    )
    # A making whose interval is as wide as both tolerances together, drawn for the middle
    # of the shaft's limits: the interval of the clearance is the fit's own.
    half = sum(high - low for low, high in (hole, shaft)) / 2000
    making = Making((0.0, 0.0), (0.0, 0.0), face_sd_mm=half / coverage_factor(math.inf))
    middle = size + sum(hole) / 2000
    told = allow("shaft", middle, making=making, clearance_mm=(tight + wide) / 2)
    assert told.draw_mm == pytest.approx(size + sum(shaft) / 2000)
    assert told.clearance_low95_mm == pytest.approx(tight, abs=1e-9)
    assert told.clearance_high95_mm == pytest.approx(wide, abs=1e-9)
    assert told.p_clear is not None and (told.p_clear > 0.975) == (tight > 0)
