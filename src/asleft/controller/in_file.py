"""From names and values to the words a person needs to edit a machine's configuration file.

Keys and units of such files differ, so each value is said as steps per mm and as travel per motor
turn, and as the factor for whatever stands there. Nothing is sent. Stands on `setting`.
"""

from __future__ import annotations

from collections.abc import Mapping

from asleft.controller.setting import format_number
from asleft.units import LINEAR_AXES, is_tool_axis


def file_lines(
    wanted: Mapping[str, float],
    in_force: Mapping[str, float],
    steps_per_turn: Mapping[str, float] | None = None,
    *,
    perhaps_travel: bool = True,
) -> list[str]:
    """What to put into the file, two lines for steps and one for anything else.

    Args:
        wanted: by name: steps per mm, skew factors, L and R in mm.
        in_force: the same as it is now; a name missing is unknown.
        steps_per_turn: full steps · microsteps · gear by axis, where described.
        perhaps_travel: whether it may stand there as travel where no turn was described.
    """
    found = []
    for name, value in wanted.items():
        now = in_force.get(name, in_force.get("E") if name == "E0" else None)
        if name in LINEAR_AXES or is_tool_axis(name):
            turn = (steps_per_turn or {}).get(name)
            found += _steps(name, value, now, turn)[: None if turn or perhaps_travel else 1]
        else:
            found.append(f"{name}: {_number(value)}{_instead(now)}")
    return found


def _steps(name: str, value: float, now: float | None, turn: float | None) -> list[str]:
    """Travel = full steps · microsteps · gear / steps per mm: it goes with one over the factor."""
    lines = [f"{name} in steps per mm: {_number(value)}{_instead(now)}{_times(value, now)}"]
    if turn is not None:
        before = None if now is None else turn / now
        travel = f"{_number(turn / value, 6)}{_instead(before, 6)}{_times(turn / value, before)}"
        lines.append(f"{name} in mm per motor turn: {travel}")
    elif now is not None:
        lines.append(f"{name} in mm per motor turn: what stands there{_times(now, value)}")
    return lines


def _instead(now: float | None, decimals: int = 4) -> str:
    return "" if now is None else f" instead of {_number(now, decimals)}"


def _times(new: float, now: float | None) -> str:
    return "" if now is None else f" (times {new / now:.6f})"


def _number(value: float, decimals: int = 4) -> str:
    return format_number(value, decimals=6 if abs(value) < 1 else decimals)
