"""One line on the wire: number, checksum, command, and what must be refused.

Not for what a command does. The strict side: a number needs a checksum, a checksum a number,
the number must be the next one. Stands on nothing.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

LINE_LIMIT = 96
"""Bytes a line may have, number and checksum included (from memory, common practice)."""

URGENT = re.compile(r"\s*(?:N\s*\d+\s*)?(M108|M112|M410)\b")
"""Commands that are obeyed as soon as their line is complete, ahead of everything queued."""

_FRAME = re.compile(r"(?:N\s*(?P<number>-?\d+)\s*)?(?P<body>[^*]*)(?:\*\s*(?P<checksum>\d+)\s*)?")
_CODE = re.compile(r"([GMT])\s*(\d+)(\.\d+)?")
_NUMBER = r"-?(?:\d+\.?\d*|\.\d+)"
_WORD = re.compile(rf"([A-Z])\s*({_NUMBER}(?::{_NUMBER})*)?")


@dataclass(frozen=True)
class Command:
    """One command: `code` (`M92`), its words (`{"X": 80.1}`, None for a letter alone), its text.

    A list as in `E93.1:94` has its first number under `E`, the next under `E1`.
    """

    code: str
    words: dict[str, float | None] = field(default_factory=dict)
    text: str = ""

    def number(self, letter: str) -> float | None:
        """The value behind a letter, or None."""
        return self.words.get(letter)


class LineRefusedError(Exception):
    """The line is not taken; the text is the reason for the `Error:` line.

    `ask_again` is False for a line without number: there is nothing to ask for.
    """

    def __init__(self, reason: str, *, ask_again: bool = True) -> None:
        super().__init__(reason)
        self.ask_again = ask_again


@dataclass
class LineCounter:
    """Numbering of one connection to the board: the last line taken.

    `numbering` is `asked` (lines without number are taken), `strict` (they are refused), or
    `ignored` (numbers and checksums are taken off and not looked at).
    """

    last: int = 0
    numbering: str = "asked"
    taken: int | None = None
    """The number of the line taken last; None where it had none."""

    def accept(self, raw: bytes) -> str:
        """Take one line apart and count it.

        Returns:
            The command's text, without number, checksum and comment; may be empty.

        Raises:
            LineRefusedError: too long, checksum wrong or missing, number not the next one.
        """
        if len(raw) > LINE_LIMIT:
            numbered = raw.lstrip().startswith(b"N")
            raise LineRefusedError(f"line longer than {LINE_LIMIT} bytes", ask_again=numbered)
        text = raw.decode("ascii", "replace").strip()
        self.taken = None
        if "*" not in text and not text.startswith("N"):
            if self.numbering == "strict" and not text.startswith("M110"):
                raise LineRefusedError("line without number", ask_again=False)
            return strip_comments(text)
        match = _FRAME.fullmatch(text)
        if match is None:
            raise LineRefusedError("checksum cannot be read")
        if self.numbering == "ignored":
            return strip_comments(match["body"].strip())
        if match["checksum"] is None:
            raise LineRefusedError("number without checksum")
        if match["number"] is None and match["body"].startswith("M110"):
            return strip_comments(match["body"])
        if match["number"] is None:
            raise LineRefusedError("checksum without number")
        if int(match["checksum"]) != checksum(raw[: raw.rindex(b"*")].lstrip()):
            raise LineRefusedError("checksum wrong")
        return self._count(int(match["number"]), match["body"].strip())

    def _count(self, number: int, body: str) -> str:
        """Take the next number; `M110` sets it."""
        if body.split(" ", maxsplit=1)[0] != "M110" and number != self.last + 1:
            raise LineRefusedError(f"number {number} where {self.last + 1} was expected")
        self.last = self.taken = number
        return strip_comments(body)


def checksum(data: bytes) -> int:
    """Exclusive or of all bytes before the `*`."""
    result = 0
    for byte in data:
        result ^= byte
    return result


def strip_comments(text: str) -> str:
    """The text without `;` and `( )` comments."""
    return re.sub(r"\([^)]*\)", "", text.split(";", 1)[0]).strip()


def parse(text: str) -> Command | None:
    """The command in a text, or None where there is none. `M117` keeps its message as text."""
    match = _CODE.match(text)
    if match is None:
        return None
    code = match[1] + str(int(match[2])) + (match[3] or "")
    rest = text[match.end() :]
    if code == "M117":
        return Command(code, {}, text)
    words: dict[str, float | None] = {}
    for letter, numbers in _WORD.findall(rest):
        first, *others = numbers.split(":")
        words[letter] = float(first) if first else None
        words.update({f"{letter}{n}": float(each) for n, each in enumerate(others, start=1)})
    return Command(code, words, text)
