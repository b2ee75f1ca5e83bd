"""Option types: numbers and name lists as people type them, and files that are read whole.

Not for what a machine may be set to; that is decided where it is used. Every refusal is an
`InputError` that names the option. Stands on `units`.
"""

from __future__ import annotations

import re
import sys
from codecs import BOM_UTF16_BE, BOM_UTF16_LE
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from asleft.cli.wording import many
from asleft.errors import InputError
from asleft.units import LINEAR_AXES, SKEW_PLANES, is_tool_axis, parse_assignments, parse_typed

_LARGEST_FILE_BYTES = 64_000_000  # a guess: a thousand times the largest table we know


def _option_name(param: click.Parameter | None, fallback: str) -> str:
    return param.opts[0] if param is not None and param.opts else fallback


class Number(click.ParamType[float]):
    """A number with decimal point or comma, above `low` (or from it) and up to `high`."""

    def __init__(
        self,
        name: str,
        *,
        low: float = 0.0,
        low_allowed: bool = False,
        high: float = 1e6,
        lengths: bool = False,
    ) -> None:
        self.name = name
        self.low, self.low_allowed, self.high, self.lengths = low, low_allowed, high, lengths

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        """Read the text; refuse what is no number or out of bounds."""
        if isinstance(value, int | float):
            return float(value)
        where = _option_name(param, self.name)
        number = parse_typed(value, where=where, lengths=self.lengths).value
        too_low = number < self.low or (number == self.low and not self.low_allowed)
        if too_low or number > self.high:
            bound = "from" if self.low_allowed else "above"
            raise InputError(
                f"{value.strip()} is impossible here",
                hint=f"Give a number {bound} {self.low:g}, up to {self.high:.7g}.",
                where=where,
            )
        return number


class Assignments(click.ParamType[dict[str, float]]):
    """`X=80,Y=80`: names that `allows` knows, each with a number (above 0 if `positive`)."""

    def __init__(self, name: str, allows: Callable[[str], bool], names: str, *, positive: bool):
        self.name, self.allows, self.names, self.positive = name, allows, names, positive

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> dict[str, float]:
        """Read the list; names are taken in capitals."""
        if isinstance(value, dict):
            return value
        where = _option_name(param, self.name)
        found: dict[str, float] = {}
        for name, number in parse_assignments(value, where=where).items():
            upper = name.upper()
            if not self.allows(upper):
                raise InputError(
                    f"{name} is not one of {self.names}", hint="Correct the name.", where=where
                )
            if upper in found:
                raise InputError(
                    f"{upper} is given twice", hint="Give each name once.", where=where
                )
            if self.positive and number <= 0:
                raise InputError(
                    f"{name}={number:g} is impossible", hint="Give a value above 0.", where=where
                )
            found[upper] = number
        return found


def _is_axis(name: str) -> bool:
    return name in LINEAR_AXES or is_tool_axis(name)


MM = Number("MM", lengths=True)
STEPS = Assignments("X=80,…", _is_axis, "X, Y, Z, E, E0, E1, …", positive=True)
ARMS = Assignments("L=215,R=105", ("L", "R").__contains__, "L, R", positive=True)
SKEW = Assignments("XY=0.001,…", SKEW_PLANES.__contains__, "XY, XZ, YZ", positive=False)


class Sizes(click.ParamType[tuple[float, ...]]):
    """`220,220,250` or `220x220x250`: exactly `count` sizes in mm, with decimal points."""

    def __init__(self, name: str, count: int) -> None:
        self.name, self.count = name, count

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[float, ...]:
        """Read the sizes; each must be above 0."""
        if isinstance(value, tuple):
            return value
        where = _option_name(param, self.name)
        parts = re.split("[,;x×]", value.lower())
        if len(parts) != self.count:
            raise InputError(
                f"{value!r} has {many(len(parts), 'size')}, not {self.count}",
                hint=f"Write {self.name}, with decimal points.",
                where=where,
            )
        return tuple(MM.convert(part, param, ctx) for part in parts)


class Rate(click.ParamType[int | None]):
    """A line rate in baud, or `auto` (None), which probes."""

    name = "auto|N"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> int | None:
        """Read the rate."""
        if value is None or isinstance(value, int):
            return value
        if value.strip().lower() == "auto":
            return None
        if not value.strip().isascii() or not value.strip().isdigit() or int(value) == 0:
            raise InputError(
                f"{value!r} is not a rate",
                hint="Write auto or a whole number such as 115200.",
                where=_option_name(param, "--baud"),
            )
        return int(value)


class Address(click.ParamType[str]):
    """A serial port as the system names it, or `host:port` for one on the network."""

    name = "P"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Put the scheme before a bare host and port; all else stays as typed."""
        text = str(value).strip()
        if not text:
            raise InputError(
                "the port is empty",
                hint="Give a serial port, or host:port.",
                where=_option_name(param, "--port"),
            )
        return f"socket://{text}" if re.fullmatch(r"[\w.-]+:\d+", text) else text


def read_text(name: str, *, what: str = "file") -> tuple[str, str]:
    """A text file, or standard input for `-`, with the name to call it by in messages.

    Raises:
        InputError: no such file, a folder, not readable, too large, or not text.
    """
    shown = "standard input" if name == "-" else name
    try:
        if name == "-":
            if sys.stdin.isatty():
                end = "Ctrl-Z and Enter" if sys.platform == "win32" else "Ctrl-D"
                click.echo(f"Paste the {what} here; {end} on a line of its own ends it.", err=True)
            raw = sys.stdin.buffer.read(_LARGEST_FILE_BYTES + 1)
        else:
            with Path(name).open("rb") as file:
                raw = file.read(_LARGEST_FILE_BYTES + 1)
    except (OSError, ValueError) as fault:
        reason = getattr(fault, "strerror", None) or str(fault)
        raise InputError(
            f"the {what} cannot be read: {reason}", hint="Check its name.", where=shown
        ) from fault
    if len(raw) > _LARGEST_FILE_BYTES:
        raise InputError(f"the {what} is too large", hint="Give a smaller one.", where=shown)
    try:
        # Some shells write what a program printed as UTF-16, with a mark at its beginning.
        text = raw.decode("utf-16" if raw.startswith((BOM_UTF16_LE, BOM_UTF16_BE)) else "utf-8-sig")
    except UnicodeDecodeError as fault:
        raise InputError(
            f"the {what} is not text in UTF-8", hint="Save it as plain text, UTF-8.", where=shown
        ) from fault
    if "\0" in text:
        raise InputError(f"the {what} is not text", hint="Give a text file.", where=shown)
    return text, shown
