"""What a person reads off an instrument, as the solvers take it.

Rows only: one frozen object a reading, so that ten readings typed by hand and ten
thousand from a scanned target go the same way. No file and no clock is known here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Direction = Literal["X", "Y", "Z", "XY+", "XY-", "XZ+", "XZ-", "YZ+", "YZ-"]
Faces = Literal["outside", "inside", "same"]
Approach = Literal["+", "-"]
Outcome = Literal["refuses", "turns", "loose"]

MARK_WENT_IN = "0 means that the mark went in: how much was fed is not known"
NO_WAY_OUT = "Filament cannot come out of the entry by feeding; look whether columns are swapped."
NOTHING_CAME = (
    "If nothing came out, see that the gear turns and grips and the nozzle is free; then feed"
    " again, and leave this row out."
)


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


def impossible_feed(reading: FeedReading) -> tuple[str, str, str] | None:
    """Column, what is wrong and what to do where no filament can have given this; else None.

    That nothing went in is possible, where a mark says so.
    """
    commanded, fed, rate = reading.commanded_mm, reading.fed_mm, reading.rate_mm_min
    if not 0 < commanded < math.inf:
        hint = "Give the commanded length in mm, above 0."
        return "commanded_mm", f"{commanded:g} mm is no feed", hint
    if rate is not None and not 0 < rate < math.inf:
        return "rate_mm_min", f"{rate:g} mm/min is no rate", "Give mm/min above 0."
    if reading.remaining_mm is not None:
        return _impossible_mark(reading.marked_mm or 0.0, reading.remaining_mm, fed)
    if not 0 < fed < math.inf:
        return "fed_mm", f"a cut piece of {fed:g} mm cannot be measured", NOTHING_CAME
    return None


def _impossible_mark(
    marked_mm: float, remaining_mm: float, fed_mm: float
) -> tuple[str, str, str] | None:
    if not 0 < marked_mm < math.inf:
        return "marked_mm", f"{marked_mm:g} mm is no mark", "Give how far away it was, in mm."
    if remaining_mm == 0:
        return "remaining_mm", MARK_WENT_IN, "Feed again with more marked, and leave this row out."
    if not 0 < remaining_mm <= marked_mm:
        what = f"{remaining_mm:g} mm cannot remain of {marked_mm:g} mm marked"
        return "remaining_mm", what, NO_WAY_OUT
    if not abs(marked_mm - remaining_mm - fed_mm) < 1e-6:
        what = f"{fed_mm:g} mm cannot be missing of {marked_mm:g} mm with {remaining_mm:g} left"
        return "fed_mm", what, "Give marked less remaining."
    return None


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
