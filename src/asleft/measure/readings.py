"""What a person reads off an instrument, as the solvers take it.

Rows only: one frozen object a reading, so that ten readings typed by hand and ten
thousand from a scanned target go the same way. No file and no clock is known here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Direction = Literal["X", "Y", "Z", "XY+", "XY-", "XZ+", "XZ-", "YZ+", "YZ-"]
Faces = Literal["outside", "inside", "same"]
Approach = Literal["+", "-"]
Outcome = Literal["refuses", "turns", "loose"]


@dataclass(frozen=True)
class FeedReading:
    """One feed of filament: how much was commanded and how much went in, both in mm.

    `remaining_mm` is None when the filament was cut flush and the cut piece measured.
    `marked_mm` goes with `remaining_mm`. `rate_mm_min` is None when it was not varied.
    """

    commanded_mm: float
    fed_mm: float
    marked_mm: float | None = None
    remaining_mm: float | None = None
    rate_mm_min: float | None = None


@dataclass(frozen=True)
class SpanReading:
    """One reading of a span piece, in mm.

    `nominal_mm` is the drawn distance between the two faces that the jaws touch.
    `faces` is `outside`, `inside`, or `same` (both faces look the same way: steps, depths).
    `place` tells repeats at one place from readings at another; None means a place of its own.
    """

    direction: Direction
    faces: Faces
    nominal_mm: float
    reading_mm: float
    place: str | None = None


def possible_span_mm(nominal_mm: float) -> tuple[float, float]:
    """Lowest and highest reading, mm, that faces drawn so far apart can give.

    A misread of some millimetres is the solver's; half or twice the size is another thing.
    """
    return max(0.0, nominal_mm / 2 - 10), nominal_mm * 2 + 10


@dataclass(frozen=True)
class TraverseReading:
    """One position of the carriage, in mm: where it was sent and what the instrument shows.

    `approach` is the direction of travel just before the target. Only differences count, so the
    instrument's zero may lie anywhere. `cycle` None: in the order of the rows.
    """

    axis: str
    target_mm: float
    approach: Approach
    reading_mm: float
    cycle: int | None = None


@dataclass(frozen=True)
class BeadReading:
    """One width across a wall one bead thick, in mm; `mass_g` of the whole piece where weighed."""

    drawn_width_mm: float
    reading_mm: float
    mass_g: float | None = None


@dataclass(frozen=True)
class FitReading:
    """One try of a real shaft in a printed bore, or of a printed pin in a real bore, in mm.

    `drawn_mm` is the printed part's drawn diameter, `gauge_mm` the real part's size.
    """

    drawn_mm: float
    gauge_mm: float
    outcome: Outcome
