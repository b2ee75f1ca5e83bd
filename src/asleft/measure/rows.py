"""CSV text to checked cells: header, rows, and an exact complaint where a cell is wrong.

Knows columns and cells, not what a reading is. `table` makes readings of the rows. No file is
opened here: the caller passes the text and the name to show. Stands on `errors` and `units`.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass

from asleft.errors import InputError
from asleft.units import parse_typed

LONGEST_MM = 10_000.0  # nothing that is measured here is longer


@dataclass(frozen=True)
class Row:
    """One line of a table: cells by column, and where they stand."""

    name: str
    line: int
    cells: dict[str, str]

    def where(self, column: str) -> str:
        """File, row and column, for an error."""
        return f"{self.name}, row {self.line}, column {column}"

    def wrong(self, column: str, what: str, hint: str) -> InputError:
        """The error that a cell deserves."""
        return InputError(what, hint=hint, where=self.where(column))

    def text(self, column: str) -> str:
        """A cell that must not be empty."""
        value = self.cells[column]
        if not value:
            raise self.wrong(column, "the cell is empty", "Fill it in, or delete the row.")
        return value

    def size(self, column: str, *, zero: bool = False, most: float = LONGEST_MM) -> float:
        """A number above 0 (or from it, with `zero`) and at most `most`; lengths in mm."""
        raw = self.text(column)
        value = parse_typed(raw, where=self.where(column)).value
        if value < 0 or (value == 0 and not zero) or value > most:
            least = "0 or more" if zero else "above 0"
            raise self.wrong(
                column, f"{raw!r} is impossible", f"Give a number {least} and at most {most:g}."
            )
        return value

    def number(self, column: str, *, most: float = LONGEST_MM) -> float:
        """A number of either sign, at most `most` in size; lengths in mm."""
        raw = self.text(column)
        value = parse_typed(raw, where=self.where(column)).value
        if abs(value) > most:
            raise self.wrong(
                column, f"{raw!r} is impossible", f"Give a number of at most {most:g} in size."
            )
        return value

    def has(self, column: str) -> bool:
        """Whether an optional cell was filled in."""
        return bool(self.cells.get(column))

    def one_of(self, column: str, allowed: tuple[str, ...]) -> str:
        """One of a few words, in any case of letters."""
        raw = self.text(column)
        by_folded = {a.casefold(): a for a in allowed}
        if raw.casefold() not in by_folded:
            raise self.wrong(column, f"{raw!r} is unknown", f"Use one of {' '.join(allowed)}.")
        return by_folded[raw.casefold()]


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


def columns_of(text: str) -> list[str]:
    """The header's columns in small letters; none where there is no header."""
    for _, line in _lines(text):
        return [c.casefold() for c in _split(line, _separator(line))]
    return []


def rows_of(
    text: str, *, name: str, needed: tuple[str, ...], optional: tuple[str, ...]
) -> list[Row]:
    """All rows below a checked header.

    Args:
        text: `,` or, with decimal comma, `;` between cells; `#` lines are comments.
        name: the file's name, for errors. needed, optional: columns.

    Raises:
        InputError: naming file, row (line of the file), column and value.
    """
    columns = columns_of(text)
    _check_header(columns, name=name, needed=needed, optional=optional)
    lines = list(_lines(text))
    separator = _separator(lines[0][1])
    rows = [_row(name, n, _split(line, separator), columns) for n, line in lines[1:]]
    if not rows:
        raise InputError("there are no readings", hint="Add a row below the header.", where=name)
    return rows


def _row(name: str, line: int, cells: list[str], columns: list[str]) -> Row:
    if len(cells) > len(columns):
        where = f"{name}, row {line}, column {len(columns) + 1}"
        raise InputError(
            f"{cells[len(columns)]!r} stands beyond the last column",
            hint="With a decimal comma, separate the cells with ';'.",
            where=where,
        )
    cells += [""] * (len(columns) - len(cells))
    return Row(name, line, dict(zip(columns, cells, strict=True)))


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
