"""What one received line is: acknowledgement, refusal, sign of life, restart, measurement, text.

Pure, total (every string has an answer) and without memory: whether a line was asked for is
decided by the conversation. The one place that reads temperatures. Shapes are common practice, no
source.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Literal

HeardKind = Literal[
    "ok", "resend", "busy", "wait", "banner", "temperature", "error", "halted", "action", "text"
]


@dataclass(frozen=True, slots=True)
class Heard:
    """One line, classified.

    `text` is the line, stripped; for `ok` it is what stands behind it without the N, P and B
    fields. `number` is the line number of an `ok N41` or the one a resend asks for, else None.
    """

    kind: HeardKind
    text: str
    number: int | None = None


_OK = re.compile(r"ok(?=\s|$)((?:\s+[NPB]-?\d+(?=\s|$))*)(.*)", re.DOTALL)
_OK_NUMBER = re.compile(r"N(\d+)")
_RESEND = re.compile(r"(?:resend|rs)\b\s*:?\s*N?\s*(\d{1,9})\b", re.IGNORECASE)
_BUSY = re.compile(r"(?:echo:\s*)?busy\s*:", re.IGNORECASE)
_BANNER = re.compile(r"(?:echo:|//)?\s*start\.?$")
# Printed while booting and at no other time, where the word itself was lost.
_BOOTING = re.compile(
    r"(?:echo:|//)?\s*(?:free memory|planner ?buffer ?bytes|last updated|compiled)\s*:",
    re.IGNORECASE,
)
_ERROR = re.compile(r"(?:error\b|!!)", re.IGNORECASE)
_HALTED = re.compile(r"\b(?:halted|kill(?:ed)?)\b", re.IGNORECASE)
_TEMPERATURES = re.compile(
    r"(?<![A-Za-z0-9@])(T\d?|B|C)\s*:\s*(-?(?:\d+(?:\.\d*)?|inf|nan))"
    r"(?:\s*/\s*(-?\d+(?:\.\d*)?))?",
    re.IGNORECASE,
)
_REPORT = re.compile(r"(?:T\d?|B)\s*:\s*-?(?:\d|inf|nan)", re.IGNORECASE)


def classify(line: str) -> Heard:
    """What a received line is. Never raises; a shape that nobody knows is `text`.

    A line number too long to be one (over 9 digits) makes a resend mere text.
    """
    line = line.lstrip("\x00�").strip()
    if line.startswith("ok") and (match := _OK.match(line)):
        number = _OK_NUMBER.search(match[1])
        return Heard("ok", match[2].strip(), int(number[1]) if number else None)
    if match := _RESEND.match(line):
        return Heard("resend", line, int(match[1]))
    if _REPORT.match(line):
        return Heard("temperature", line)
    if line.startswith("//action"):
        return Heard("action", line)
    if line == "wait":
        return Heard("wait", line)
    return Heard(_worded(line), line)


def _worded(line: str) -> HeardKind:
    if _BUSY.match(line):
        return "busy"
    if _BANNER.match(line) or _BOOTING.match(line):
        return "banner"
    if _ERROR.match(line):
        return "halted" if _HALTED.search(line) else "error"
    return "text"


@dataclass(frozen=True, slots=True)
class Temperature:
    """One sensor of a report: `T`, `T0`…, `B` or `C`; °C; a target not printed is None."""

    sensor: str
    actual_c: float
    target_c: float | None


def temperatures(text: str) -> tuple[Temperature, ...]:
    """All temperatures in a line, in order; heater powers (`@:`) are none. May be empty."""
    return tuple(
        Temperature(name.upper(), float(actual), None if target == "" else float(target))
        for name, actual, target in _TEMPERATURES.findall(text)
    )


def sensor_is_broken(actual_c: float) -> bool:
    """Whether no room and no nozzle has this temperature: an open or a shorted sensor.

    Such sensors read as -15, as 0 or as infinite (common practice, no source).
    """
    return not math.isfinite(actual_c) or actual_c < -10.0 or actual_c == 0.0 or actual_c > 500.0


def asks_temperature(command: str) -> bool:
    """Whether a command asks for temperatures, so that a report is its answer."""
    return command.startswith("M105")
