"""Readings files: CSV text in, rows out, and an exact complaint where a cell is wrong.

Knows the columns of each trial, not what a reading is worth. No file is opened here: the caller
passes the text and the name to show. Stands on `rows` and `readings`.
"""

from __future__ import annotations

from typing import cast, get_args

from asleft.measure.readings import (
    Approach,
    BeadReading,
    Direction,
    Faces,
    FeedReading,
    FitReading,
    Outcome,
    SpanReading,
    TraverseReading,
    impossible_feed,
    possible_span_mm,
)
from asleft.measure.rows import Row, columns_of, rows_of

FASTEST_MM_MIN = 100_000.0
THICKEST_MM = 20.0  # no single bead is wider
HEAVIEST_G = 10_000.0
MOST_CYCLES = 10_000
_FEED_MARKED = ("marked_mm", "remaining_mm", "commanded_mm")
_FEED_CUT = ("fed_mm", "commanded_mm")
_SPAN = ("direction", "faces", "nominal_mm", "reading_mm")
_TRAVERSE = ("axis", "target_mm", "approach", "reading_mm")
_BEAD = ("drawn_width_mm", "reading_mm")
_FIT = ("drawn_mm", "gauge_mm", "outcome")


def parse_feed_table(text: str, *, name: str) -> list[FeedReading]:
    """Rows of a feed trial from CSV text.

    Args:
        text: header `marked_mm,remaining_mm,commanded_mm[,rate_mm_min]` or
            `fed_mm,commanded_mm[,rate_mm_min]`; `,` or, with decimal comma, `;`; `#` comments.
        name: the file's name, for errors.

    Raises:
        InputError: naming file, row (line of the file), column and value.
    """
    marked = "fed_mm" not in columns_of(text)
    needed = _FEED_MARKED if marked else _FEED_CUT
    rows = rows_of(text, name=name, needed=needed, optional=("rate_mm_min",))
    return [_feed(row, marked=marked) for row in rows]


def _feed(row: Row, *, marked: bool) -> FeedReading:
    commanded = row.size("commanded_mm")
    rate = row.size("rate_mm_min", most=FASTEST_MM_MIN) if row.has("rate_mm_min") else None
    if marked:
        mark, remaining = row.size("marked_mm"), row.size("remaining_mm", zero=True)
        reading = FeedReading(commanded, mark - remaining, mark, remaining, rate)
    else:
        reading = FeedReading(commanded, row.size("fed_mm", zero=True), rate_mm_min=rate)
    wrong = impossible_feed(reading)
    if wrong is not None:
        raise row.wrong(*wrong)
    return reading


def parse_span_table(text: str, *, name: str) -> list[SpanReading]:
    """Rows of a span trial from CSV text.

    Args:
        text: header `direction,faces,nominal_mm,reading_mm[,place]`; separators and comments
            as in `parse_feed_table`.
        name: the file's name, for errors.

    Raises:
        InputError: naming file, row (line of the file), column and value.
    """
    return [_span(row) for row in rows_of(text, name=name, needed=_SPAN, optional=("place",))]


def _span(row: Row) -> SpanReading:
    direction = row.one_of("direction", get_args(Direction))
    faces = row.one_of("faces", get_args(Faces))
    nominal, reading = row.size("nominal_mm"), row.size("reading_mm")
    low, high = possible_span_mm(nominal)
    if not low <= reading <= high:
        raise row.wrong(
            "reading_mm",
            f"{row.cells['reading_mm']!r} is impossible for a drawn {nominal:g} mm",
            "Look for a lost digit or a wrong drawn size.",
        )
    place = row.cells.get("place") or None
    return SpanReading(cast(Direction, direction), cast(Faces, faces), nominal, reading, place)


def parse_traverse_table(text: str, *, name: str) -> list[TraverseReading]:
    """Rows of a traverse from CSV text.

    Args:
        text: header `axis,target_mm,approach,reading_mm[,cycle]`, approach `+` or `-`; targets
            and readings may be negative.
        name: the file's name, for errors.

    Raises:
        InputError: naming file, row (line of the file), column and value.
    """
    return [
        _traverse(row) for row in rows_of(text, name=name, needed=_TRAVERSE, optional=("cycle",))
    ]


def _traverse(row: Row) -> TraverseReading:
    axis = row.one_of("axis", ("X", "Y", "Z"))
    approach = row.one_of("approach", get_args(Approach))
    cycle = None
    if row.has("cycle"):
        number = row.size("cycle", most=MOST_CYCLES)
        if number != int(number):
            raise row.wrong(
                "cycle", f"{row.cells['cycle']!r} is no whole number", "Count cycles from 1."
            )
        cycle = int(number)
    target, reading = row.number("target_mm"), row.number("reading_mm")
    return TraverseReading(axis, target, cast(Approach, approach), reading, cycle)


def parse_bead_table(text: str, *, name: str) -> list[BeadReading]:
    """Rows of a bead trial from CSV text.

    Args:
        text: header `drawn_width_mm,reading_mm[,mass_g]`; a mass is of the whole piece.
        name: the file's name, for errors.

    Raises:
        InputError: naming file, row (line of the file), column and value.
    """
    return [_bead(row) for row in rows_of(text, name=name, needed=_BEAD, optional=("mass_g",))]


def _bead(row: Row) -> BeadReading:
    width = row.size("drawn_width_mm", most=THICKEST_MM)
    reading = row.size("reading_mm", most=THICKEST_MM)
    mass = row.size("mass_g", most=HEAVIEST_G) if row.has("mass_g") else None
    return BeadReading(width, reading, mass)


def parse_fit_table(text: str, *, name: str) -> list[FitReading]:
    """Rows of a fit trial from CSV text.

    Args:
        text: header `drawn_mm,gauge_mm,outcome`, outcome `refuses`, `turns` or `loose`.
        name: the file's name, for errors.

    Raises:
        InputError: naming file, row (line of the file), column and value.
    """
    return [_fit(row) for row in rows_of(text, name=name, needed=_FIT, optional=())]


def _fit(row: Row) -> FitReading:
    drawn, gauge = row.size("drawn_mm"), row.size("gauge_mm")
    if abs(drawn - gauge) > gauge / 2 + 1:
        raise row.wrong(
            "drawn_mm",
            f"{row.cells['drawn_mm']!r} does not go with a gauge of {gauge:g} mm",
            "Look whether columns are swapped or a digit is lost.",
        )
    return FitReading(drawn, gauge, cast(Outcome, row.one_of("outcome", get_args(Outcome))))
