"""Two settings reports side by side: what differs, and what to send to go back.

Compares within the digits that the machine prints, all values, not just those we set. Pure:
sends nothing and stores nothing. Stands on `report`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

from asleft.controller.report import Named, SettingsReport
from asleft.controller.setting import (
    Setting,
    format_number,
    looks_like_command,
    looks_like_setting,
    uncommented,
)
from asleft.units import is_tool_axis

CALIBRATING = frozenset({"M92", "M852", "M665", "M666"})
_UNITS = frozenset({"G20", "G21"})
# Controllers compute in single precision (6e-8 relative), several operations in a row.
_FLOAT_NOISE = 1e-6
_MM_DECIMALS = 4  # of steps per mm that were printed per inch
_Key = tuple[str, int | None, int]


@dataclass(frozen=True)
class Difference:
    """One value that is not the same. A line that was not understood has no code and no letter."""

    code: str
    tool: int | None
    letter: str
    before: float | str | None
    after: float | str | None

    def to_dict(self) -> dict[str, Any]:
        """JSON values."""
        return dict(vars(self))

    def __str__(self) -> str:
        """`M92 X 80.12, now 80`."""
        tool = "" if self.tool is None else f"T{self.tool}"
        what = " ".join(word for word in (self.code, tool, self.letter) if word) or "line"
        before, after = ("nothing" if v is None else _plain(v) for v in (self.before, self.after))
        return f"{what} {before}, now {after}"


def same_within_digits(wished: float, printed: float, last_place: float) -> bool:
    """Whether a printed value can be the wished one.

    Half of the last printed digit, and the noise of a controller's single precision
    (`139.6999` for 139.7).
    """
    return abs(wished - printed) <= 0.5 * last_place * (1 + 1e-9) + _FLOAT_NOISE * abs(wished)


def difference(before: SettingsReport, after: SettingsReport) -> list[Difference]:
    """Everything that differs between two reports of one machine, in the order of `before`."""
    found: list[Difference] = []
    old, new = _keyed(before), _keyed(after)
    for key in [*old, *(k for k in new if k not in old)]:
        found += _line_difference(key, old.get(key), new.get(key))
    old_lines = [uncommented(line) for line in before.unknown if looks_like_setting(line)]
    new_lines = [uncommented(line) for line in after.unknown if looks_like_setting(line)]
    found += [Difference("", None, "", x, None) for x in old_lines if x not in new_lines]
    found += [Difference("", None, "", None, x) for x in new_lines if x not in old_lines]
    return found


def departures(
    before: SettingsReport, after: SettingsReport, wished: Mapping[str, float]
) -> list[Difference]:
    """What is not as it should be after a change; empty when the change is true.

    Args:
        before: the report read before the change.
        after: the report read back.
        wished: the values sent, by name (`X`, `E1`, `XY`, `L`).

    Returns:
        Every wished value that is not there (`before` holds the wish), then every other
        value that is not as before.
    """
    found: list[Difference] = []
    intended: set[tuple[str, int | None, str]] = set()
    for name, wish in wished.items():
        there = find_named(after, name) or find_named(before, name)
        if there is not None:
            intended.add((there.setting.code, there.setting.tool, there.letter))
        now = find_named(after, name)
        if now is None or not same_within_digits(wish, now.value, now.last_place):
            code, tool = (there.setting.code, there.setting.tool) if there else (name, None)
            value = None if now is None else now.value
            found.append(Difference(code, tool, there.letter if there else name, wish, value))
    others = difference(before, after)
    return found + [d for d in others if (d.code, d.tool, d.letter) not in intended]


def find_named(report: SettingsReport, name: str) -> Named | None:
    """A value by name; `E` and `E0` are one and the same where the machine has one tool."""
    if name in report.named or not is_tool_axis(name):
        return report.named.get(name)
    alias = {"E": "E0", "E0": "E"}.get(name, "")
    return report.named.get(alias)


def restore_lines(kept: SettingsReport, now: SettingsReport, *, everything: bool) -> list[str]:
    """What to send so that the machine holds again what a kept state holds.

    Args:
        kept: the state to go back to.
        now: the state in force.
        everything: every line of it, also those that were not understood, not only steps,
            skew and delta geometry.

    Returns:
        Lines to send with the machine in mm, only those that differ, in the machine's order;
        lines of a report in inches stand between `G20` and `G21`.
    """
    found: list[str] = []
    in_force = _keyed(now)
    raw_now = {uncommented(line) for line in now.unknown}
    keys = iter(_keyed(kept))
    for line in kept.lines:
        if isinstance(line, str):
            if everything and looks_like_command(line) and uncommented(line) not in raw_now:
                found += _in_units(uncommented(line), inches=kept.inches)
            continue
        key = next(keys)
        if line.code in _UNITS or not (everything or line.code in CALIBRATING):
            continue
        if kept.inches != now.inches or _line_difference(key, line, in_force.get(key)):
            found += _restoring(line, kept)
    return found


def lines_by_hand(kept: SettingsReport, now: SettingsReport) -> list[str]:
    """Lines of a kept state that differ and cannot be sent: entries of a configuration file."""
    raw_now = {uncommented(line) for line in now.unknown}
    return [
        uncommented(line)
        for line in kept.unknown
        if looks_like_setting(line)
        and not looks_like_command(line)
        and uncommented(line) not in raw_now
    ]


def _keyed(report: SettingsReport) -> dict[_Key, Setting]:
    """Settings by code, tool and, as a code may have several lines, which of them."""
    return dict(_numbered(report))


def _numbered(report: SettingsReport) -> Iterator[tuple[_Key, Setting]]:
    counts: dict[tuple[str, int | None], int] = {}
    for setting in report.settings:
        start = (setting.code, setting.tool)
        counts[start] = counts.get(start, 0) + 1
        yield (*start, counts[start]), setting


def _line_difference(key: _Key, old: Setting | None, new: Setting | None) -> list[Difference]:
    code, tool, _ = key
    if old is None or new is None:
        present = old or new
        letters = list(present.values) if present and present.values else [""]
    else:
        letters = [*old.values, *(x for x in new.values if x not in old.values)]
    found = []
    for letter in letters:
        before, after = _printed(old, letter), _printed(new, letter)
        if old is not None and new is not None and before is not None and after is not None:
            place = max(old.last_place(letter), new.last_place(letter))
            if same_within_digits(before, after, place):
                continue
        elif old is not None and new is not None and before is after:
            continue
        found.append(Difference(code, tool, letter, before, after))
    return found


def _printed(setting: Setting | None, letter: str) -> float | None:
    return None if setting is None else setting.values.get(letter)


def _restoring(line: Setting, kept: SettingsReport) -> list[str]:
    if not kept.inches:
        return [line.command]
    if line.code == "M92":
        per_mm = {n.letter: n.value for n in kept.named.values() if n.setting is line}
        converted = replace(line, values=per_mm, decimals=dict.fromkeys(per_mm, _MM_DECIMALS))
        return [converted.command] if per_mm else []
    return _in_units(line.command, inches=True)


def _plain(value: float | str) -> str:
    return value if isinstance(value, str) else format_number(value)


def _in_units(command: str, *, inches: bool) -> list[str]:
    return ["G20", command, "G21"] if inches else [command]
