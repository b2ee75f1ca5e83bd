"""The file on a board that keeps its steps there: what it says, and a person who edits it.

Steps stand as travel per motor turn, with as many digits as a person types. Not for the line:
a board reads its file when it starts and at no other time. Stands on `settings` and `wire`.
"""

from __future__ import annotations

import re

from asleft.practice.errors import CannotError
from asleft.practice.words.settings import STEPS_PER_TURN, Settings, as_stored
from asleft.practice.words.wire import parse, strip_comments

TRAVEL_DECIMALS = 5
_NUMBER = r"(?P<value>\d+\.?\d*)"
_AXIS = r"(?P<name>[XYZ]|E\d?)"
_TRAVEL = re.compile(
    rf"(?:motor\.)?{_AXIS}(?:\.travel_per_turn_mm| in mm per motor turn:)\s+{_NUMBER}", re.I
)
_STEPS = re.compile(rf"{_AXIS} in steps per mm:\s+{_NUMBER}", re.I)
_AGAIN = re.compile(rf"{_AXIS} in mm per motor turn: what stands there", re.I)


def file_lines(settings: Settings) -> list[str]:
    """What the file says; `#` begins a comment."""
    lines = []
    stored = settings.storage or settings.in_force
    for name, steps in stored["M92"].items():
        travel, was = STEPS_PER_TURN / steps, STEPS_PER_TURN / settings.factory["M92"][name]
        entry = f"motor.{name.lower()}.travel_per_turn_mm {travel:.{TRAVEL_DECIMALS}f}"
        lines.append(f"{entry} # was {was:.{TRAVEL_DECIMALS}f}")
    lines += [f"motor.{name.lower()}.steps_per_turn {STEPS_PER_TURN}" for name in stored["M92"]]
    lines += [f"limit.{name.lower()}.mm_s {v:g}" for name, v in stored["M203"].items()]
    return [*lines, "frame.squared_by_hand true", "lamp.colour warm"]


def write_in_file(settings: Settings, lines: list[str]) -> dict[str, float]:
    """Enter settings: as travel, or as steps per mm, which the person turns into travel.

    Returns:
        Steps per mm by name, as they were asked for.

    Raises:
        CannotError: a line that names no entry; the file stays as it was.
    """
    entered: dict[str, float] = {}
    for line in lines:
        entered |= _steps(line)
    assert settings.storage is not None  # noqa: S101 - a board with a file has one
    missing = set(entered) - set(settings.storage["M92"])
    if missing:
        raise CannotError(f"the file has no entry for {', '.join(sorted(missing))}")
    for name, steps in entered.items():
        travel_mm = round(STEPS_PER_TURN / steps, TRAVEL_DECIMALS)
        settings.storage["M92"][name] = as_stored(STEPS_PER_TURN / travel_mm)
    return entered


def _steps(line: str) -> dict[str, float]:
    """The steps per mm that a line asks for; a line that repeats it as a factor asks for none."""
    if (travel := _TRAVEL.match(line)) is not None:
        return {travel["name"].upper(): STEPS_PER_TURN / float(travel["value"])}
    if (steps := _STEPS.match(line)) is not None:
        return {steps["name"].upper(): float(steps["value"])}
    command = parse(strip_comments(line))
    if command is not None and command.code == "M92":
        return {name: value for name, value in command.words.items() if value}
    if _AGAIN.match(line):
        return {}
    raise CannotError(f"{line!r} stands nowhere in the file")
