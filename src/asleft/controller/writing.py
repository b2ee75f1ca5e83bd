"""From names and values to the lines that set them, in the form this machine prints them.

Everything is checked before the first line exists, so that a bad value sends nothing. Pure;
stands on `report`. Not for storing, and not for reading back.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping

from asleft.controller.kept import find_named
from asleft.controller.report import SettingsReport, skew_letters
from asleft.controller.setting import format_number, uncommented
from asleft.errors import InputError, RefusedError
from asleft.units import LINEAR_AXES, SKEW_PLANES, is_tool_axis

_LARGEST_SKEW = 0.1  # 100 mrad are 6 degrees: a frame, not an adjustment
_MOST_STEPS = 100_000.0
_LINE_BYTES = 80  # 96 with line number and checksum
# Codes that heat, move, print, store, reset or rewrite: never part of a state to put back.
_NOT_SETTINGS = frozenset(
    {0, 1, 17, 18, 23, 24, 25, 26, 28, 29, 30, 32, 42, 80, 81, 84, 104, 106, 109, 112, 116, 125}
    | {140, 141, 190, 191, 226, 280, 303, 306, 410, 500, 501, 502, 504, 600, 701, 702}
    | {928, 997, 999}
)


def setting_lines(values: Mapping[str, float], report: SettingsReport) -> list[str]:
    """The lines that set `{"X": 80.1, "E0": 93, "XY": 0.001, "L": 215}`, machine in mm.

    Args:
        values: steps per mm by axis, skew factors by plane, L and R in mm.
        report: what the machine holds; an axis absent there is no axis of this machine.

    Raises:
        InputError: nothing to set, an unknown name, or a value that cannot be.
    """
    if not values:
        raise InputError("nothing to set", hint="Give NAME=VALUE, such as X=80.12.")
    for name, value in values.items():
        _check(name, value, report)
    _check_arms(values, report)
    linear = {n: values[n] for n in LINEAR_AXES if n in values}
    extruders = {n: v for n, v in values.items() if is_tool_axis(n)}
    lines = _tool_lines(extruders, report, linear)
    skew = {n: values[n] for n in SKEW_PLANES if n in values}
    if skew:
        there = report.named[next(iter(skew))].setting
        letters = dict(zip(SKEW_PLANES, skew_letters(there), strict=True))
        words = (letters[n] + format_number(v, decimals=8) for n, v in skew.items())
        lines.append("M852 " + " ".join(words))
    arms = {n: values[n] for n in ("L", "R") if n in values}
    if arms:
        lines.append("M665 " + " ".join(n + format_number(v) for n, v in arms.items()))
    return lines


def loses_its_place(line: str) -> bool:
    """Whether a line changes how the machine knows where it is: a delta's arms and end stops."""
    return re.match(r"M66[56]\b", uncommented(line)) is not None


def checked_settings(lines: Iterable[str]) -> list[str]:
    """Lines of a kept state, fit to be sent: commands only, no comment, nothing that acts.

    Raises:
        RefusedError: a line that heats, moves, stores or resets, or one too long to send.
    """
    found = []
    for line in lines:
        command = uncommented(line)
        code = re.match(r"([GM])(\d+)", command)
        unsafe = code is None or int(code.group(2)) in _NOT_SETTINGS
        if code is not None and code.group(1) == "G":
            unsafe = command not in ("G20", "G21")
        if unsafe or len(command) > _LINE_BYTES or not command.isascii():
            raise RefusedError(
                f"{command!r} is no setting to put back: nothing was sent",
                hint="Take this line out of the kept state, or set it by hand.",
                where=line,
            )
        found.append(command)
    return found


def _check(name: str, value: float, report: SettingsReport) -> None:
    """Refuse a name this machine lacks and a value that cannot be."""
    known = {"E" if n == "E0" else n for n in report.named}
    settable = name in (*LINEAR_AXES, *SKEW_PLANES, "L", "R") or is_tool_axis(name)
    if not settable or find_named(report, name) is None or not _one_tool(name, report):
        names = sorted(n for n in known if not n.startswith(("trim", "tower", "M")))
        raise InputError(
            f"this machine has no {name}", hint=f"It has {', '.join(names)}.", where=name
        )
    skew = name in SKEW_PLANES
    low, high = (-_LARGEST_SKEW, _LARGEST_SKEW) if skew else (0.0, _MOST_STEPS)
    if not math.isfinite(value) or not low < value < high:
        raise InputError(
            f"{value:g} is impossible for {name}",
            hint=f"Give a number between {low:g} and {high:g}. Nothing was sent.",
            where=name,
        )


def _check_arms(values: Mapping[str, float], report: SettingsReport) -> None:
    """Refuse arms that do not span their radius."""
    if not {"L", "R"} & set(values):
        return
    length, radius = (values.get(n, report.named[n].value) for n in ("L", "R"))
    if radius >= length:
        raise InputError(
            f"arms of {length:g} mm do not span a radius of {radius:g} mm",
            hint="The arm length L is larger than the radius R. Nothing was sent.",
            where="L",
        )


def _one_tool(name: str, report: SettingsReport) -> bool:
    """`E` alone names a tool only where there is one."""
    return name != "E" or "E" in report.named


def _tool_lines(
    extruders: dict[str, float], report: SettingsReport, linear: dict[str, float]
) -> list[str]:
    """M92 lines in the machine's own form: one line, a line per tool, or a colon list."""
    main = [n + format_number(v) for n, v in linear.items()]
    per_tool = []
    for name, value in extruders.items():
        there = find_named(report, name)
        assert there is not None  # noqa: S101 - checked before
        if len(there.letter) > 1:
            main.append(_colon_list(extruders, report))
            break
        if there.setting.tool is not None:
            per_tool.append(f"M92 T{there.setting.tool} E{format_number(value)}")
        else:
            main.append("E" + format_number(value))
    return (["M92 " + " ".join(main)] if main else []) + per_tool


def _colon_list(extruders: dict[str, float], report: SettingsReport) -> str:
    """All extruders in their order; those that are not set keep their value."""
    listed = sorted(n for n in report.named if is_tool_axis(n))
    return "E" + ":".join(format_number(extruders.get(n, report.named[n].value)) for n in listed)
