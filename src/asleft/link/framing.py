"""Commands to bytes, bytes to lines: number, XOR checksum, line ends, bounded length.

Pure; knows neither a port nor what a line means. The form `N58 M105*cs` with cs the XOR of all
bytes before `*` is common practice, no source.
"""

from __future__ import annotations

import re
from functools import reduce
from operator import xor

from asleft.errors import InputError

MAX_SENT_BYTES = 96  # with number and checksum; shortest receive buffer met (from memory)
MAX_HEARD_BYTES = 4096  # a line longer than this is noise (wrong speed) and is cut

_ENDS = re.compile(rb"[\r\n]+")


def checksum(body: bytes) -> int:
    """XOR of all bytes before the `*`, 0 to 255."""
    return reduce(xor, body, 0)


def plain_line(command: str) -> bytes:
    """One command as it goes out without number and checksum, with its line end.

    Raises:
        InputError: not ASCII, empty, of several lines, with `*`, or too long.
    """
    if not command.strip() or not command.isascii() or not command.isprintable():
        raise InputError(
            f"{command!r} is no command line",
            hint="A command is one line of plain ASCII text.",
        )
    if "*" in command:
        raise InputError(f"{command!r} holds a *", hint="Checksums are added by the line itself.")
    return _bounded(command.strip().encode("ascii") + b"\n", command)


def numbered_line(number: int, command: str) -> bytes:
    """One command with its number and checksum: `N58 M105*36` and a line end.

    Raises:
        InputError: as `plain_line`; the length counts number and checksum.
    """
    body = b"N%d %b" % (number, plain_line(command)[:-1])
    return _bounded(b"%b*%d\n" % (body, checksum(body)), command)


def _bounded(line: bytes, command: str) -> bytes:
    if len(line) > MAX_SENT_BYTES:
        raise InputError(
            f"the line is {len(line)} bytes long, more than {MAX_SENT_BYTES}: {command!r}",
            hint="Split the command or write numbers with fewer digits.",
        )
    return line


class LineSplitter:
    """Bytes as they arrive to whole lines, whatever ends them (LF, CRLF, CR).

    Bytes outside UTF-8 become replacement characters; blank lines are dropped. A line that
    never ends is cut at `MAX_HEARD_BYTES` and its remainder thrown away, so memory is bounded
    and no `ok` is found in the middle of noise.
    """

    def __init__(self) -> None:
        self._rest = b""
        self._overlong = False

    def feed(self, chunk: bytes) -> list[str]:
        """Take bytes, return the lines that they complete, stripped, in order."""
        *whole, rest = _ENDS.split(self._rest + chunk)
        if self._overlong and whole:
            whole = whole[1:]
            self._overlong = False
        if self._overlong:
            rest = b""
        elif len(rest) > MAX_HEARD_BYTES:
            whole.append(rest[:MAX_HEARD_BYTES])
            self._overlong = True
            rest = b""
        self._rest = rest
        texts = (line[:MAX_HEARD_BYTES].decode("utf-8", "replace").strip() for line in whole)
        return [text for text in texts if text]

    def clear(self) -> None:
        """Forget a line begun; after a reopening it belongs to nothing."""
        self._rest = b""
        self._overlong = False
