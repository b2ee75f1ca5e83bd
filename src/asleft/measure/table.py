"""Readings files: CSV text in, rows out, and an exact complaint where a cell is wrong.

Knows columns and cells, not what a reading is worth. No file is opened here: the caller
passes the text and the name to show. Stands on `errors`, `units` and `readings`.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from typing import cast, get_args

from asleft.errors import InputError
from asleft.measure.readings import Direction, Faces, FeedReading, SpanReading
from asleft.units import parse_typed

LONGEST_MM = 10_000.0  # nothing that is measured here is longer
FASTEST_MM_MIN = 100_000.0
_FEED_MARKED = ("marked_mm", "remaining_mm", "commanded_mm")
_FEED_CUT = ("fed_mm", "commanded_mm")
_SPAN = ("direction", "faces", "nominal_mm", "reading_mm")


@dataclass(frozen=True)
class _Row:
    """One line of a table: cells by column, and where they stand."""

    name: str
    line: int
    cells: dict[str, str]

    def where(self, column: str) -> str:
        return f"{self.name}, row {self.line}, column {column}"

    def wrong(self, column: str, what: str, hint: str) -> InputError:
        return InputError(what, hint=hint, where=self.where(column))

    def text(self, column: str) -> str:
        value = self.cells[column]
        if not value:
            raise self.wrong(column, "the cell is empty", "Fill it in, or delete the row.")
        return value

    def size(self, column: str, *, zero: bool = False, most: float = LONGEST_MM) -> float:
        raw = self.text(column)
        value = parse_typed(raw, where=self.where(column)).value
        if value < 0 or (value == 0 and not zero) or value > most:
            least = "0 or more" if zero else "above 0"
            raise self.wrong(
                column, f"{raw!r} is impossible", f"Give a number {least} and at most {most:g}."
            )
        return value

    def one_of(self, column: str, allowed: tuple[str, ...]) -> str:
        raw = self.text(column)
        by_folded = {a.casefold(): a for a in allowed}
        if raw.casefold() not in by_folded:
            raise self.wrong(column, f"{raw!r} is unknown", f"Use one of {' '.join(allowed)}.")
        return by_folded[raw.casefold()]


def parse_feed_table(text: str, *, name: str) -> list[FeedReading]:
    """Rows of a feed trial from CSV text.

    Args:
        text: header `marked_mm,remaining_mm,commanded_mm[,rate_mm_min]` or
            `fed_mm,commanded_mm[,rate_mm_min]`; `,` or, with decimal comma, `;`; `#` comments.
        name: the file's name, for errors.

    Raises:
        InputError: naming file, row (line of the file), column and value.
    """
    marked = "fed_mm" not in _columns(text)
    needed = _FEED_MARKED if marked else _FEED_CUT
    rows = _rows(text, name=name, needed=needed, optional=("rate_mm_min",))
    return [_feed(row, marked=marked) for row in rows]


def _feed(row: _Row, *, marked: bool) -> FeedReading:
    commanded = row.size("commanded_mm")
    has_rate = bool(row.cells.get("rate_mm_min"))
    rate = row.size("rate_mm_min", most=FASTEST_MM_MIN) if has_rate else None
    if not marked:
        return FeedReading(commanded, row.size("fed_mm", zero=True), rate_mm_min=rate)
    mark, remaining = row.size("marked_mm"), row.size("remaining_mm", zero=True)
    if remaining > mark:
        raise row.wrong(
            "remaining_mm",
            f"{row.cells['remaining_mm']!r} is more than was marked ({mark:g} mm)",
            "Filament cannot come out of the entry by feeding; look whether columns are swapped.",
        )
    return FeedReading(commanded, mark - remaining, mark, remaining, rate)


def parse_span_table(text: str, *, name: str) -> list[SpanReading]:
    """Rows of a span trial from CSV text.

    Args:
        text: header `direction,faces,nominal_mm,reading_mm[,place]`; separators and comments
            as in `parse_feed_table`.
        name: the file's name, for errors.

    Raises:
        InputError: naming file, row (line of the file), column and value.
    """
    return [_span(row) for row in _rows(text, name=name, needed=_SPAN, optional=("place",))]


def _span(row: _Row) -> SpanReading:
    direction = row.one_of("direction", get_args(Direction))
    faces = row.one_of("faces", get_args(Faces))
    nominal, reading = row.size("nominal_mm"), row.size("reading_mm")
    # A misread of some millimetres is the solver's; half or twice the size is another thing.
    if not nominal / 2 - 10 <= reading <= nominal * 2 + 10:
        raise row.wrong(
            "reading_mm",
            f"{row.cells['reading_mm']!r} is impossible for a drawn {nominal:g} mm",
            "Look for a lost digit or a wrong drawn size.",
        )
    place = row.cells.get("place") or None
    return SpanReading(cast(Direction, direction), cast(Faces, faces), nominal, reading, place)


def _lines(text: str) -> Iterator[tuple[int, str]]:
    """Lines that count, with their number in the file."""
    for number, line in enumerate(text.removeprefix("\ufeff").splitlines(), start=1):
        stripped = line.strip()
        if stripped.strip(",;") and not stripped.startswith("#"):
            yield number, line


def _split(line: str, separator: str) -> list[str]:
    return [cell.strip() for cell in next(csv.reader(io.StringIO(line), delimiter=separator))]


def _separator(header: str) -> str:
    return ";" if ";" in header else ","


def _columns(text: str) -> list[str]:
    for _, line in _lines(text):
        return [c.casefold() for c in _split(line, _separator(line))]
    return []


def _rows(
    text: str, *, name: str, needed: tuple[str, ...], optional: tuple[str, ...]
) -> list[_Row]:
    """All rows below a checked header."""
    columns = _columns(text)
    _check_header(columns, name=name, needed=needed, optional=optional)
    lines = list(_lines(text))
    separator = _separator(lines[0][1])
    rows = [_row(name, n, _split(line, separator), columns) for n, line in lines[1:]]
    if not rows:
        raise InputError("there are no readings", hint="Add a row below the header.", where=name)
    return rows


def _row(name: str, line: int, cells: list[str], columns: list[str]) -> _Row:
    if len(cells) > len(columns):
        where = f"{name}, row {line}, column {len(columns) + 1}"
        raise InputError(
            f"{cells[len(columns)]!r} stands beyond the last column",
            hint="With a decimal comma, separate the cells with ';'.",
            where=where,
        )
    cells += [""] * (len(columns) - len(cells))
    return _Row(name, line, dict(zip(columns, cells, strict=True)))


def _check_header(
    columns: list[str], *, name: str, needed: tuple[str, ...], optional: tuple[str, ...]
) -> None:
    expected = ",".join(needed) + "".join(f"[,{c}]" for c in optional)
    if not columns:
        hint = f"Start it with {expected}."
        raise InputError("the file has no header and no readings", hint=hint, where=name)
    for i, column in enumerate(columns):
        where = f"{name}, row {_header_row(columns)}, column {column or i + 1}"
        if column not in needed + optional:
            raise InputError(f"column {column!r} is unknown", hint=f"Use {expected}.", where=where)
        if column in columns[:i]:
            raise InputError(f"column {column!r} is given twice", hint="Keep one.", where=where)
    for column in needed:
        if column not in columns:
            where = f"{name}, row {_header_row(columns)}, column {column}"
            raise InputError(f"column {column!r} is missing", hint=f"Use {expected}.", where=where)


def _header_row(columns: list[str]) -> str:
    return f"1 ({','.join(columns)})"
