"""Plain words and aligned tables for the terminal, 80 characters wide.

Not for deciding anything: it formats what it is given. Colour is used for two things only,
strong words and danger, on a terminal only and never when NO_COLOR is set.
"""

from __future__ import annotations

import os
import textwrap
from collections.abc import Iterable, Sequence
from typing import Any, TextIO

WIDTH = 80
_STYLES = {"strong": "\x1b[1m", "danger": "\x1b[1;31m"}


def sentence(text: str) -> str:
    """The text with a capital in front and a full stop behind."""
    text = text.strip()
    if not text:
        return text
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?:…" else ".")


def many(count: int, thing: str) -> str:
    """The thing counted: `1 reading`, `2 readings`."""
    return f"{count} {thing}" if count == 1 else f"{count} {thing}s"


def wrapped(text: str, *, indent: str = "", further: str | None = None) -> list[str]:
    """The text in lines of at most 80 characters; words such as paths are never cut."""
    if further is None:
        further = indent or "  "
    return textwrap.wrap(
        text,
        WIDTH,
        initial_indent=indent,
        subsequent_indent=further,
        break_long_words=False,
        break_on_hyphens=False,
    ) or [""]


def table(rows: Iterable[Sequence[str]], *, right: frozenset[int] = frozenset()) -> list[str]:
    """Aligned lines; `right` names the columns set flush right."""
    cells = [tuple(row) for row in rows]
    if not cells:
        return []
    widths = [max(len(row[i]) for row in cells) for i in range(len(cells[0]))]
    return [
        "  "
        + "  ".join(
            cell.rjust(width) if i in right else cell.ljust(width)
            for i, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in cells
    ]


def paint(text: str, style: str, stream: TextIO) -> str:
    """The text, strong or in the colour of danger where the stream is a terminal."""
    if os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb" or not stream.isatty():
        return text
    return f"{_STYLES[style]}{text}\x1b[0m"


def duration(seconds: float) -> str:
    """A time in words of the right size: `8 s`, `3 min 20 s`, `1 h 05 min`."""
    whole = max(0, round(seconds))
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60:02d} s"
    return f"{whole // 3600} h {whole % 3600 // 60:02d} min"


def plain(value: Any) -> str:
    """A value as a person reads it; None is `unknown`, never 0."""
    if value is None:
        return "unknown"
    if value is True or value is False:
        return "yes" if value else "no"
    if isinstance(value, float):
        text = f"{value:.6f}".rstrip("0").rstrip(".")
        return "0" if text == "-0" else text
    if isinstance(value, dict):
        return ", ".join(f"{name} {plain(v)}" for name, v in value.items())
    if isinstance(value, list | tuple):
        return ", ".join(plain(v) for v in value)
    return str(value)


def notes(warnings: Iterable[str]) -> list[str]:
    """What the person should mind, one sentence a paragraph."""
    lines: list[str] = []
    for warning in warnings:
        lines += wrapped(f"Mind: {sentence(warning)}")
    return lines
