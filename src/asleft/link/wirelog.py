"""The wire log: every chunk written to or read from a line, with its time, append-only.

One chunk a line: UTC time with microseconds, `>` sent or `<` heard or `#` note, the bytes as
escaped text. It is evidence for the record, so each line is on its way to the disk at once; but
a full disk must not come between a hand and the heaters, so that logging never raises.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from asleft.errors import LineError

Direction = Literal[">", "<", "#"]


def utc_now() -> datetime:
    """The wall clock, UTC."""
    return datetime.now(UTC)


@dataclass(frozen=True)
class WireChunk:
    """One line of a wire log: when, which way (`>` to the machine), which bytes."""

    wall_time: datetime
    direction: Direction
    data: bytes


class WireLog:
    """Appends to a wire-log file; several sessions may follow one another in one file.

    Args:
        path: the file; its folders are made.
        wall: the wall clock.
        on_gap: told once why a line could not be written; the line itself goes on.

    Raises:
        LineError: the file cannot be opened. Nothing raises after that.
    """

    def __init__(
        self,
        path: Path,
        *,
        wall: Callable[[], datetime] = utc_now,
        on_gap: Callable[[str], None] = lambda _: None,
    ) -> None:
        self.path = path
        self.incomplete: str | None = None  # why, once a line is missing
        self._wall = wall
        self._on_gap = on_gap
        self._missing = 0
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            # Unbuffered and O_APPEND: a killed process loses nothing that was on the wire.
            flags = os.O_WRONLY | os.O_APPEND | os.O_CREAT | getattr(os, "O_BINARY", 0)
            self._file = os.open(path, flags, 0o644)
        except OSError as error:
            raise LineError(
                f"the wire log cannot be written: {error.strerror}",
                hint="Free some space, or choose a home that can be written.",
                where=str(path),
            ) from error

    def sent(self, data: bytes) -> None:
        """Log bytes written to the machine."""
        self._append(">", data)

    def heard(self, data: bytes) -> None:
        """Log bytes read from the machine."""
        self._append("<", data)

    def note(self, text: str) -> None:
        """Log what happened to the line itself: opened, closed, out of step."""
        self._append("#", text.encode("utf-8"))

    def close(self) -> None:
        """Close the file; safe to call twice."""
        if self._file >= 0:
            with contextlib.suppress(OSError):
                os.close(self._file)
            self._file = -1

    def _append(self, direction: Direction, data: bytes) -> None:
        if self._file < 0:
            return
        if self._missing and self._write("#", b"%d lines are missing here" % self._missing):
            self._missing = 0
        if self._missing or not self._write(direction, data):
            self._missing += 1

    def _write(self, direction: Direction, data: bytes) -> bool:
        """One whole line, or nothing of it."""
        time = self._wall().isoformat(timespec="microseconds")
        line = f"{time} {direction} {escape(data)}\n".encode("ascii")
        written = 0
        try:
            written = os.write(self._file, line)
            if written == len(line):
                return True
            written += os.write(self._file, line[written:])  # says why there was no room
        except OSError as error:
            self._gap(error.strerror or str(error))
        if written == len(line):
            return True
        with contextlib.suppress(OSError):
            os.ftruncate(self._file, os.lseek(self._file, 0, os.SEEK_END) - written)
        return False

    def _gap(self, why: str) -> None:
        if self.incomplete is None:
            self.incomplete = why
            self._on_gap(why)


def escape(data: bytes) -> str:
    r"""Bytes as one line of ASCII: `\n`, `\r`, `\\`, `\x00`… for what cannot be read."""
    return data.decode("latin-1").encode("unicode_escape").decode("ascii")


def read_wire_log(path: Path) -> Iterator[WireChunk]:
    """The chunks of a wire log in order; a last line cut short by a crash is left out.

    Raises:
        LineError: a line in the middle is not one of a wire log.
    """
    lines = path.read_bytes().split(b"\n")
    for row, line in enumerate(lines[:-1], start=1):
        try:
            time, direction, text = line.decode("ascii").split(" ", 2)
            data = text.encode("ascii").decode("unicode_escape").encode("latin-1")
            yield WireChunk(datetime.fromisoformat(time), _direction(direction), data)
        except ValueError as error:
            raise LineError(
                "a line of the wire log cannot be read", where=f"{path}, row {row}"
            ) from error


def _direction(text: str) -> Direction:
    if text == ">":
        return ">"
    if text == "<":
        return "<"
    if text == "#":
        return "#"
    raise ValueError(f"no direction: {text!r}")
