"""A file of plain codes, held against a machine's limits before its first line is sent.

Every line is read and understood: what is not known is refused, and so is whatever leaves the
stated travel, asks for too much heat, or would feed cold. Nothing is sent here. Stands on `limits`.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field

from asleft.controller.description import MachineDescription
from asleft.controller.limits import check_target
from asleft.errors import AsleftError, InputError, RefusedError

COLDEST_FEED_C = 170.0  # usual guard against cold feeding (common practice, no source)
_HOMING_S = 30.0  # for the remaining time only; a guess, ours
_WORD = re.compile(r"([A-Z])(-?(?:\d+\.?\d*|\.\d+))")
_MOTION = dict.fromkeys(("G0", "G1"), "XYZEF")
# Codes that may stand in a file, each with the letters that it may have.
_LETTERS = _MOTION | {
    **dict.fromkeys(("G21", "G28", "G90", "M82", "M83", "M84", "M107"), ""),
    "G92": "E",
    "M106": "S",
    **dict.fromkeys(("M104", "M109", "M140", "M190"), "S"),
}


@dataclass(frozen=True)
class PrintLine:
    """One command: its number in the file, its words, its seconds, and the place it ends at."""

    number: int
    text: str
    code: str
    words: dict[str, float]
    seconds: float
    z_mm: float
    rate_mm_min: float


@dataclass(frozen=True)
class PrintFile:
    """A checked file. `seconds` are those of its moves, ramps and warming up not counted."""

    lines: tuple[PrintLine, ...]

    @property
    def seconds(self) -> float:
        """All moves together."""
        return sum(line.seconds for line in self.lines)


def check_file(text: str, description: MachineDescription) -> PrintFile:
    """Read a whole file and refuse what this machine may not be told.

    Raises:
        InputError: no command at all, or a line that is none.
        RefusedError: an unknown code, a place outside the travel, too hot, a move before homing,
            a feed before the nozzle is hot. Names the line; nothing was sent.
    """
    reader = _Reader(description)
    for number, raw in enumerate(text.splitlines(), start=1):
        line = raw.split(";", 1)[0].strip()
        if line:
            reader.read(number, line)
    if not reader.lines:
        raise InputError("there is no command in the file", hint="Write it with `asleft piece`.")
    if reader.hot:
        raise RefusedError(
            "the file does not switch its heaters off at the end",
            hint="Its last lines should be M104 S0 and M140 S0.",
            where="end of the file",
        )
    return PrintFile(tuple(reader.lines))


@dataclass
class _Reader:
    """Follows the file as a machine would, and refuses."""

    description: MachineDescription
    lines: list[PrintLine] = field(default_factory=list)
    at: dict[str, float] = field(default_factory=lambda: dict.fromkeys("XYZE", 0.0))
    targets_c: dict[str, float] = field(default_factory=dict)
    rate_mm_min: float = 0.0
    homed: bool = False
    absolute: bool = False
    feed_absolute: bool | None = None
    hot_enough: bool = False

    @property
    def hot(self) -> bool:
        """Whether a heater is on."""
        return any(self.targets_c.values())

    def read(self, number: int, line: str) -> None:
        code, *rest = line.split()
        where = f"line {number}: {line}"
        words = self._words(code, rest, where)
        try:
            seconds = self._follow(code, words, where)
        except AsleftError as error:
            error.where = where
            raise
        self.lines.append(
            PrintLine(number, line, code, words, seconds, self.at["Z"], self.rate_mm_min)
        )

    def _words(self, code: str, rest: list[str], where: str) -> dict[str, float]:
        if code not in _LETTERS:
            raise _refused(f"{code} is not known here", "Only plain codes are sent.", where)
        words: dict[str, float] = {}
        for word in rest:
            match = _WORD.fullmatch(word)
            if match is None or match[1] not in _LETTERS[code] or match[1] in words:
                raise _refused(f"{word} does not belong to {code}", "Look at this line.", where)
            words[match[1]] = float(match[2])
        return words

    def _follow(self, code: str, words: dict[str, float], where: str) -> float:
        """Take a line into account; its seconds."""
        if code in _MOTION:
            return self._move(words, where)
        if code in ("M104", "M109", "M140", "M190"):
            self._heat(code, words.get("S", 0.0), where)
        elif code == "G28":
            self.homed = True
            self.at |= dict.fromkeys("XYZ", 0.0)
            return _HOMING_S
        elif code == "G92":
            self.at["E"] = words.get("E", 0.0)
        elif code == "M84":
            self.homed = False
        elif code == "G90":
            self.absolute = self.feed_absolute = True
        elif code in ("M82", "M83"):
            self.feed_absolute = code == "M82"
        return 0.0

    def _heat(self, code: str, target_c: float, where: str) -> None:
        nozzle = code in ("M104", "M109")
        if nozzle and target_c:
            check_target(target_c, 0, self.description)
        elif not 0 <= target_c <= self.description.max_bed_c and not nozzle:
            limit = f"This bed's limit is {self.description.max_bed_c:g} °C."
            raise _refused(f"{target_c:g} °C is too hot for the bed", limit, where)
        self.targets_c["nozzle" if nozzle else "bed"] = target_c
        if nozzle:
            self.hot_enough = code == "M109" and target_c >= COLDEST_FEED_C

    def _move(self, words: dict[str, float], where: str) -> float:
        if not self.homed or not self.absolute or self.feed_absolute is None:
            raise _refused(
                "a move before G28, G90 and M82 or M83", "Those belong at the beginning.", where
            )
        self.rate_mm_min = words.get("F", self.rate_mm_min)
        if not 0 < self.rate_mm_min < math.inf:
            raise _refused("a move without a rate", "Give F in mm/min.", where)
        end = {**self.at, **{a: v for a, v in words.items() if a in "XYZ"}}
        if "E" in words:
            end["E"] = words["E"] + (0.0 if self.feed_absolute else self.at["E"])
        self._demand_inside(end, where)
        if end["E"] != self.at["E"] and not self.hot_enough:
            raise _refused("a feed before the nozzle is hot", "M109 belongs before it.", where)
        way = math.dist([end[a] for a in "XYZ"], [self.at[a] for a in "XYZ"])
        way = way or abs(end["E"] - self.at["E"])
        self.at = end
        return way / self.rate_mm_min * 60

    def _demand_inside(self, end: dict[str, float], where: str) -> None:
        """Round beds count from the middle; where homing leaves the axes is not asked."""
        x, y, z = self.description.travel_mm
        if self.description.bed_shape == "round":
            inside = math.hypot(end["X"], end["Y"]) <= x / 2 + 1e-6
        else:
            inside = -1e-6 <= end["X"] <= x + 1e-6 and -1e-6 <= end["Y"] <= y + 1e-6
        if not (inside and -1e-6 <= end["Z"] <= z + 1e-6):
            raise _refused(
                "this is outside the stated travel",
                "Make the piece for this bed, or correct the machine's description.",
                where,
            )


def _refused(message: str, hint: str, where: str) -> RefusedError:
    return RefusedError(message, hint=hint, where=where)
