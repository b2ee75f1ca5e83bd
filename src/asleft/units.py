"""Axes, and numbers as people type them.

Not for arithmetic: a float carries its unit in its name (`remaining_mm`, `rate_mm_min`).
Stands on `errors` alone; everything else stands on it.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from asleft.errors import InputError

MM_PER_INCH = 25.4
LINEAR_AXES = ("X", "Y", "Z")
SKEW_PLANES = ("XY", "XZ", "YZ")

_NUMBER = re.compile(
    r"""\s*(?P<number>[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+))\s*(?P<unit>mm|in|inch|")?\s*""",
    re.VERBOSE | re.IGNORECASE | re.ASCII,
)


@dataclass(frozen=True)
class Typed:
    """A number as typed: `value` in mm (or the unit asked for) and the untouched text."""

    value: float
    raw: str


def parse_typed(text: str, *, where: str, lengths: bool = True) -> Typed:
    """Read one number typed by a person.

    Args:
        text: `20`, `20.05`, `20,05` (decimal comma), `0.79 in` (inches, only with `lengths`).
        where: what the number is for; named in the error.
        lengths: whether `mm` and `in` may follow.

    Returns:
        The value (mm for a length) beside the raw text.

    Raises:
        InputError: text, NaN, infinity, an exponent, or a thousands separator.
    """
    match = _NUMBER.fullmatch(text)
    unit = match.group("unit") if match else None
    if match is None or (unit and not lengths):
        hint = "Type digits with a decimal point or comma, such as 20.05"
        if len(re.findall(r"[.,'\s]", text.strip())) > 1:
            hint += "; leave out thousands separators"
        said = f"{text.strip()!r} is not a number" if text.strip() else "nothing was typed"
        raise InputError(said, hint=hint + ".", where=where)
    value = float(match.group("number").replace(",", "."))
    if not math.isfinite(value):
        raise InputError(f"{text.strip()!r} is too large", hint="Type it again.", where=where)
    if unit and unit.lower() != "mm":
        value *= MM_PER_INCH
    return Typed(value, text)


def parse_assignments(text: str, *, where: str) -> dict[str, float]:
    """Read `X=80,Y=80,Z=400` (or blanks between) into names and numbers.

    A decimal comma is taken as such where no new `NAME=` follows it: `X=80,5,Y=80`.

    Raises:
        InputError: no `NAME=VALUE`, a name given twice, or a value that is no number.
    """
    found: dict[str, float] = {}
    parts = re.split(r"[,;\s]+(?=[A-Za-z_]\w*\s*=)", text.strip())
    for part in parts:
        name, equals, value = part.partition("=")
        name = name.strip()
        if not equals or not name or not value.strip():
            raise InputError(
                f"{part!r} is not NAME=VALUE", hint="Write for example X=80,Y=80.", where=where
            )
        if name in found:
            raise InputError(f"{name} is given twice", hint="Give each name once.", where=where)
        found[name] = parse_typed(value, where=f"{where} {name}", lengths=False).value
    return found


def decimals_of(u: float) -> int:
    """Decimals with which an uncertainty above 0 shows two digits (JCGM 100, 7.2.6).

    Two after it was rounded: 0.0996 is 0.10. None of a large one are cut off before the point.
    """
    exponent = int(f"{u:.1e}".partition("e")[2])
    return max(0, 1 - exponent)


def is_tool_axis(name: str) -> bool:
    """Whether a name is an extruder: `E`, `E0`, `E1`, …"""
    return re.fullmatch(r"E\d?", name) is not None
