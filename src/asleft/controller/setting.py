"""One line of a settings report, by its shape on the wire.

Reads and prints `M92 X80.00 E93.00` with or without prefix, tool, colons, commas and lists.
Knows no meaning of any code: `report` gives it. Stands on nothing of ours.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

_NUMBER = r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)"
_PREFIX = re.compile(r"^\s*(?:(?:echo|recv)\s*:|<+|ok\s+(?=[GM]\d))\s*", re.IGNORECASE)
_CODE = re.compile(
    r"(?P<code>[GM]\d+(?:\.\d+)?)(?![\d.])\s*:?\s*(?P<rest>.*)", re.DOTALL | re.ASCII
)
_WORD = re.compile(rf"([A-Za-z])\s*[:=]?\s*({_NUMBER}(?::{_NUMBER})*)(?![\w.])\s*,?\s*")
_LIST_NAME = re.compile(r"([A-Z])(\d+)")
_COMMAND = re.compile(r"[GMT]\d", re.ASCII)
# A key of a configuration dump has a dot, an underscore or an equals sign; `uptime 12` has not.
_KEYED = re.compile(rf"(?=\S*[._]|[^=]*=)[A-Za-z][\w.\-]*\s*[=\s]\s*{_NUMBER}\s*$")


@dataclass(frozen=True)
class Setting:
    """One line: its code, the tool it names, and its values as printed.

    `values` maps a letter to a number; a colon list gives `E0`, `E1`, … . `decimals` are the
    digits behind the point that each value was printed with; `line` is the untouched line.
    """

    code: str
    tool: int | None
    values: Mapping[str, float]
    decimals: Mapping[str, int]
    line: str

    @property
    def command(self) -> str:
        """The line as it can be sent: no prefix, no comment, the digits that were printed."""
        words = [self.code] + ([f"T{self.tool}"] if self.tool is not None else [])
        joined: dict[str, str] = {}
        for name, value in self.values.items():
            listed = _LIST_NAME.fullmatch(name)
            letter = listed.group(1) if listed else name
            text = f"{value:.{self.decimals[name]}f}"
            joined[letter] = f"{joined[letter]}:{text}" if letter in joined else letter + text
        return " ".join(words + list(joined.values()))

    def last_place(self, name: str) -> float:
        """The worth of the last digit printed; a line that drops zeros shows it elsewhere.

        Where every value is whole, zeros were dropped: no machine prints less than one digit
        behind the point (from memory), so that 80 is never taken for a rounded 80.37.
        """
        return 10.0 ** -max(1, self.decimals[name], *self.decimals.values())


def uncommented(line: str) -> str:
    """The line without prefix and comment: everything behind `;`, `#` or `//`, or in `( )`."""
    body = line
    while (shorter := _PREFIX.sub("", body, count=1)) != body:
        body = shorter
    body = re.sub(r"\([^)]*\)", " ", body)
    return re.split(r";|#|//", body, maxsplit=1)[0].strip()


def parse_setting(line: str) -> Setting | None:
    """Read one line; None when it is no code followed by letters and numbers alone."""
    head = _CODE.fullmatch(uncommented(line))
    if head is None:
        return None
    words = parse_words(head.group("rest"))
    if words is None:
        return None
    values, decimals = words
    tool = None
    if "T" in values and values["T"] >= 0 and values["T"].is_integer():
        tool = int(values.pop("T"))
        decimals.pop("T")
    return Setting(head.group("code"), tool, values, decimals, line)


def parse_words(text: str) -> tuple[dict[str, float], dict[str, int]] | None:
    """Letters and numbers of `X100.4 Y: 100.4, E1:2`; None if anything else is there."""
    values: dict[str, float] = {}
    decimals: dict[str, int] = {}
    position = 0
    while position < len(text):
        word = _WORD.match(text, position)
        if word is None:
            return None
        letter, numbers = word.group(1).upper(), word.group(2).split(":")
        for index, number in enumerate(numbers):
            name = letter if len(numbers) == 1 else f"{letter}{index}"
            if name in values:
                return None
            values[name] = float(number)
            decimals[name] = len(number.partition(".")[2])
        position = word.end()
    return values, decimals


def looks_like_command(line: str) -> bool:
    """Whether a line that could not be read is still a code that can be sent as it is.

    One with bytes lost or spoiled on the way is not.
    """
    body = uncommented(line)
    sendable = body.isascii() and body.isprintable() and "*" not in body
    return sendable and _COMMAND.match(body) is not None


def looks_like_setting(line: str) -> bool:
    """Whether a line holds a value: a code, or a key with a number (a configuration dump)."""
    body = uncommented(line)
    return _COMMAND.match(body) is not None or _KEYED.match(body) is not None


def format_number(value: float, *, decimals: int = 6) -> str:
    """A number as controllers take it: decimal point, no exponent, no needless zeros."""
    text = f"{value:.{decimals}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text
