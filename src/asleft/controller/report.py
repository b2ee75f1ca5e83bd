"""A whole settings report: what the machine says it holds, understood by shape.

Recognises steps, skew and delta geometry by their codes and keeps every other line raw and in
order. Asks no machine anything: text in, `SettingsReport` out. Stands on `setting`.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from asleft.controller.setting import (
    Setting,
    format_number,
    looks_like_command,
    looks_like_setting,
    parse_setting,
    parse_words,
)
from asleft.controller.setting import uncommented as _uncommented
from asleft.units import LINEAR_AXES, MM_PER_INCH, SKEW_PLANES, is_tool_axis

STEPS_ANSWER = "; answer to M92"  # heads what M92 alone said, in the text of a report
STEPS_UNTOLD = "; M92 told no steps"  # ends the text of a machine that does not know M92
# Steps per mm outside this range are taken as a sign that the unit is another (ours, generous).
_PLAUSIBLE_STEPS = (5.0, 20_000.0)
_NUMBERED = re.compile(r"E\d")
_LABELLED = re.compile(r"(?:ok\b)?(?P<label>[^,]*?)(?P<words>\bX\s*:?\s*\d.*)", re.IGNORECASE)


@dataclass(frozen=True)
class Named:
    """One value under its name (`X`, `E1`, `XY`, `L`), in mm, and where it stands."""

    value: float
    last_place: float
    setting: Setting
    letter: str


@dataclass(frozen=True)
class SettingsReport:
    """What one settings report holds.

    `lines` are settings and raw lines that were not understood, in the machine's order. Values
    are per mm and in mm, whatever the machine's units. `complete` is true when X, Y, Z and an
    extruder have steps; else `reason` says what is missing.
    """

    raw: str
    lines: tuple[Setting | str, ...]
    named: Mapping[str, Named]
    inches: bool
    reason: str | None
    warnings: tuple[str, ...] = ()

    @property
    def complete(self) -> bool:
        """Whether every axis has its steps."""
        return self.reason is None

    @property
    def steps_untold(self) -> bool:
        """Whether the machine was asked and does not tell: its steps stand in a file on it."""
        untold = any(line.strip() == STEPS_UNTOLD for line in self.raw.splitlines())
        return untold and not settings_with_steps(self.settings)

    @property
    def is_dump(self) -> bool:
        """Whether it has keys of a configuration file and no M92 but what was asked alone."""
        before = self.raw.partition(STEPS_ANSWER)[0]
        keyed = any(looks_like_setting(x) and not looks_like_command(x) for x in self.unknown)
        return keyed and not any(s.code == "M92" and s.line in before for s in self.settings)

    @property
    def settings(self) -> tuple[Setting, ...]:
        """The lines that were understood as code and values."""
        return tuple(line for line in self.lines if isinstance(line, Setting))

    @property
    def unknown(self) -> tuple[str, ...]:
        """The lines that were not, raw."""
        return tuple(line for line in self.lines if isinstance(line, str))

    @cached_property
    def steps_per_mm(self) -> dict[str, float | None]:
        """Steps per mm: `X Y Z`, then `E`, or `E0`, `E1`, …; None where it could not be read."""
        extruders = sorted(name for name in self.named if is_tool_axis(name)) or ["E"]
        return {n: _value(self.named, n) for n in (*LINEAR_AXES, *extruders)}

    @property
    def skew(self) -> dict[str, float] | None:
        """Skew factors `XY XZ YZ`, or None where the machine reports none."""
        return {n: self.named[n].value for n in ("XY", "XZ", "YZ") if n in self.named} or None

    @property
    def delta(self) -> dict[str, float] | None:
        """Arm length L, radius R and what else M665 and M666 hold, or None."""
        if "L" not in self.named or "R" not in self.named:
            return None
        return {n: v.value for n, v in self.named.items() if v.setting.code in ("M665", "M666")}

    @property
    def arms(self) -> dict[str, float] | None:
        """Arm length L and radius R of a delta, mm, or None."""
        return None if self.delta is None else {n: self.delta[n] for n in ("L", "R")}

    def to_dict(self) -> dict[str, Any]:
        """The keys of `asleft.found/1` that a report can answer."""
        return {
            "complete": self.complete,
            "reason": self.reason,
            "steps_per_mm": dict(self.steps_per_mm),
            "skew": self.skew,
            "delta": self.delta,
            "settings": [
                {"code": s.code, "tool": s.tool, "values": dict(s.values), "line": s.line}
                for s in self.settings
            ],
            "unknown": list(self.unknown),
            "warnings": list(self.warnings),
        }


def parse_report(text: str) -> SettingsReport:
    """Read a settings report, off the line or pasted.

    Args:
        text: the lines in any of the usual shapes, with LF, CRLF or CR. A line `STEPS_ANSWER`
            says that what follows it answers M92 alone.

    Returns:
        The report; never raises for what it cannot read.
    """
    lines: list[Setting | str] = []
    asked = False
    for line in re.split(r"\r\n|\n|\r", text):
        asked = asked or line.strip() == STEPS_ANSWER
        if not line.strip() or not _uncommented(line) or _uncommented(line).lower() == "ok":
            continue
        lines.append(parse_setting(line) or _labelled_steps(line, asked=asked) or line)
    settings = [line for line in lines if isinstance(line, Setting)]
    units = [s.code for s in settings if s.code in ("G20", "G21")]
    inches = bool(units) and units[-1] == "G20"
    warnings: list[str] = []
    named = {**_steps(settings, warnings), **_skew(settings), **_delta(settings, inches=inches)}
    if inches:
        named = _steps_from_inches(named, warnings)
    reason = _missing(named)
    if reason and not settings_with_steps(settings) and STEPS_UNTOLD in text:
        reason = (
            "the machine does not tell its steps per mm (M92): they stand in a file on its board"
        )
    return SettingsReport(text, tuple(lines), named, inches, reason, tuple(warnings))


def settings_with_steps(settings: Iterable[Setting]) -> bool:
    """Whether any line sets steps per mm."""
    return any(s.code == "M92" for s in settings)


def typed_report(values: Mapping[str, float]) -> SettingsReport:
    """A report made of values by name that a person gave, `{"X": 80.0, "E1": 93, "XY": 0.001}`.

    Steps per mm, skew factors, and L and R where both are given; other names are left out.
    """
    main = [n for n in values if n in (*LINEAR_AXES, "E")]
    lines = ["M92 " + " ".join(n + format_number(values[n]) for n in main)] if main else []
    lines += [f"M92 T{n[1]} E{format_number(values[n])}" for n in values if _NUMBERED.fullmatch(n)]
    skew = {letter: values[n] for n, letter in zip(SKEW_PLANES, "IJK", strict=True) if n in values}
    if skew:
        words = (letter + format_number(v, decimals=8) for letter, v in skew.items())
        lines.append("M852 " + " ".join(words))
    if {"L", "R"} <= set(values):
        lines.append(f"M665 L{format_number(values['L'])} R{format_number(values['R'])}")
    return parse_report("\n".join(lines) + "\n")


def _value(named: Mapping[str, Named], name: str) -> float | None:
    found = named.get(name)
    return None if found is None else found.value


def _labelled_steps(line: str, *, asked: bool) -> Setting | None:
    """`steps: X: 100.4, Y: 100.4, Z: 1600, E: 139.7`: a label, no code. Positions look alike."""
    match = _LABELLED.fullmatch(_uncommented(line))
    words = parse_words(match.group("words")) if match else None
    if match is None or words is None or not {"X", "Y", "Z"} <= set(words[0]):
        return None
    told = asked or "step" in match.group("label").lower()
    if not told or "T" in words[0] or min(words[0].values()) <= 0:
        return None
    return Setting("M92", None, words[0], words[1], line)


def _steps(settings: list[Setting], warnings: list[str]) -> dict[str, Named]:
    """Steps per axis from the M92 lines; the later line holds where two disagree."""
    found: dict[str, Named] = {}
    for setting in (s for s in settings if s.code == "M92"):
        for letter, value in setting.values.items():
            name = letter
            if letter == "E" and setting.tool is not None:
                name = f"E{setting.tool}"
            if not (name in LINEAR_AXES or is_tool_axis(name)):
                continue
            if value <= 0:
                warnings.append(f"{name} of {value:g} steps per mm is impossible: not taken")
                continue
            if name in found and found[name].value != value:
                warnings.append(f"{name} is given twice and differs; the later one is taken")
            found[name] = Named(value, setting.last_place(letter), setting, letter)
    return _named_tools(found)


def _named_tools(found: dict[str, Named]) -> dict[str, Named]:
    """`E` when there is one tool; `E0`, `E1`, … when there are several."""
    tools = [n for n in found if _NUMBERED.fullmatch(n)]
    if tools == ["E0"]:
        found["E"] = found.pop("E0")
    elif tools and "E" in found:
        plain = found.pop("E")
        found.setdefault("E0", plain)
    return found


def _skew(settings: list[Setting]) -> dict[str, Named]:
    """XY, XZ, YZ from `M852 I J K`, or from `S I J` where the machine prints that."""
    found: dict[str, Named] = {}
    for setting in (s for s in settings if s.code == "M852"):
        for plane, letter in zip(("XY", "XZ", "YZ"), skew_letters(setting), strict=True):
            if letter in setting.values:
                found[plane] = Named(
                    setting.values[letter], setting.last_place(letter), setting, letter
                )
    return found


def skew_letters(setting: Setting) -> str:
    """The letters of XY, XZ and YZ on this machine."""
    return "SIJ" if "S" in setting.values and "K" not in setting.values else "IJK"


def _delta(settings: list[Setting], *, inches: bool) -> dict[str, Named]:
    """Arm length and radius (M665), and end-stop trims (M666) where there are arms."""
    found: dict[str, Named] = {}
    if not any(s.code == "M665" and {"L", "R"} <= set(s.values) for s in settings):
        return found
    for setting in settings:
        for letter, value in setting.values.items():
            if setting.code == "M665":
                name, is_length = letter, letter in "LRH"
            elif setting.code == "M666":
                name, is_length = f"trim_{letter}", True
            else:
                continue
            # Names of steps are taken: X, Y, Z turn the towers, an E is nobody's extruder.
            name = f"tower_{name}" if name in LINEAR_AXES or is_tool_axis(name) else name
            factor = MM_PER_INCH if inches and is_length else 1.0
            found[name] = Named(
                value * factor, setting.last_place(letter) * factor, setting, letter
            )
    return found


def _steps_from_inches(named: dict[str, Named], warnings: list[str]) -> dict[str, Named]:
    """Steps of a report in inches, per mm: most boards multiply by 25.4, some divide."""
    steps = {n: v for n, v in named.items() if v.setting.code == "M92"}
    low, high = _PLAUSIBLE_STEPS
    fitting = [
        factor
        for factor in (1 / MM_PER_INCH, MM_PER_INCH)
        if all(low <= v.value * factor <= high for v in steps.values())
    ]
    others = {n: v for n, v in named.items() if n not in steps}
    if len(fitting) != 1:
        warnings.append("the report is in inches and its steps cannot be told apart: send G21")
        return others
    warnings.append("the report is in inches; its steps were converted to steps per mm")
    f = fitting[0]
    return others | {
        n: Named(v.value * f, v.last_place * f, v.setting, v.letter) for n, v in steps.items()
    }


def _missing(named: Mapping[str, Named]) -> str | None:
    absent = [axis for axis in LINEAR_AXES if axis not in named]
    if not any(is_tool_axis(name) for name in named):
        absent.append("E")
    if not absent:
        return None
    if len(absent) == 4:
        return "no steps per mm in the report: cut short, or kept elsewhere on this machine"
    return f"no steps per mm of {', '.join(absent)} in the report: it may be cut short"
