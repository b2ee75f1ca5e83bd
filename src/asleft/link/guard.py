"""The heat guard: sees every line sent and every temperature heard, and says when to end it.

Pure state with times passed in; it sends nothing itself. Whoever owns the line asks it before
sending, tells it what went out and what came, and obeys `trouble` and `idle_too_long`.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from asleft.errors import RefusedError
from asleft.link.hearing import Temperature, sensor_is_broken, temperatures

RISE_K = 15.0  # a heater that is off cools; 15 K is far above noise and overshoot (ours)
WARM_C = 50.0  # below this nothing burns and a sunny window explains a rise (ours)

_SETS_HEAT = re.compile(r"M(104|109|140|190)(?!\d)(.*)", re.IGNORECASE)
# Every G code but those that only set how others are read, tool changes, and filament by itself.
_MOVES = re.compile(r"(?:G(?!(?:4|1[789]|2[01]|9[012])(?!\d))\d|T\d|M(?:600|70[123])(?!\d))", re.I)
_ASKS = re.compile(r"M(?:27|92|105|114|115|220|221|503)", re.I)  # without any word
_WORD = re.compile(r"([SRT])\s*(-?\d+(?:\.\d*)?)", re.IGNORECASE)


@dataclass(frozen=True)
class GuardLimits:
    """What the guard holds to: °C for nozzle and bed, seconds without a command while hot.

    `slept_s`: a computer that slept longer than that, or stood still, has watched no heater.
    """

    max_nozzle_c: float = 260.0
    max_bed_c: float = 110.0
    idle_off_s: float = 600.0
    poll_s: float = 2.0
    slept_s: float = 20.0


class HeatGuard:
    """Whether the machine may be hot, too hot, or heating unasked."""

    def __init__(self, limits: GuardLimits, now_s: float) -> None:
        self.limits = limits
        self.trouble: str | None = None
        self.last_report_s: float | None = None
        self.has_acted = False  # motion or heat was commanded on this line
        self._has_heated = False  # since the heaters were last seen off
        self._asked_c: dict[str, float] = {}  # what we set
        self._reported_c: dict[str, float] = {}  # what the machine says is set
        self._lowest_c: dict[str, float] = {}  # since every target is 0
        self._doubted: set[str] = set()  # heated by somebody else, and read once as trouble
        self._last_command_s = now_s

    @property
    def may_be_hot(self) -> bool:
        """Whether a heater may be on: we switched it on, or the machine says that one is."""
        return any(c > 0 for c in (*self._asked_c.values(), *self._reported_c.values()))

    @property
    def ours(self) -> bool:
        """Whether a heater is on because we switched it on: then we switch it off, too.

        A heater that somebody else switched on may belong to a print from the memory card. One
        that we switched off is ours still while the machine shows a target.
        """
        return bool(self._asked_c) or (self._has_heated and self.may_be_hot)

    def check(self, command: str) -> None:
        """Refuse a temperature above the limit before it is sent.

        Raises:
            RefusedError: names the limit; nothing was sent.
        """
        setting = _heat_setting(command)
        if setting is None:
            return
        heater, wanted_c = setting
        limit_c = self._limit_c(heater)
        if not wanted_c <= limit_c:
            raise RefusedError(
                f"{wanted_c:g} °C is above the limit of {limit_c:g} °C for the {_words(heater)}",
                hint="Ask for less, or correct the machine's description if it bears more.",
                where=command,
            )

    def sent(self, command: str) -> None:
        """A line went out, by whomever. What switches on counts from now on."""
        setting = _heat_setting(command)
        heats = setting is not None and setting[1] > 0
        if setting is not None and heats:
            self._asked_c[setting[0]] = setting[1]
            self._has_heated = True
            self._lowest_c.clear()
        self.has_acted = self.has_acted or heats or moves(command)

    def acknowledged(self, command: str) -> None:
        """A line was acknowledged and not refused. What switches off counts from now on."""
        setting = _heat_setting(command)
        if setting is not None and setting[1] <= 0:
            self._asked_c.pop(setting[0], None)

    def commanded(self, now_s: float) -> None:
        """A person's or program's command came: the machine is not idle."""
        self._last_command_s = now_s

    def switched_off(self) -> None:
        """Heaters off was confirmed, or the machine restarted."""
        self._has_heated = False
        self._asked_c.clear()
        self._reported_c.clear()

    def heard(self, text: str, now_s: float) -> None:
        """A line that may hold temperatures; sets `trouble` when one is out of bounds."""
        found = temperatures(text)
        if not found:
            return
        self.last_report_s = now_s
        for one in found:
            if one.target_c is not None:
                self._reported_c[one.sensor] = one.target_c
        self._has_heated = self._has_heated and self.may_be_hot
        for one in found:
            if one.sensor != "C":  # nobody stated a limit for a chamber
                self.trouble = self.trouble or self._trouble_with(one)

    def idle_too_long(self, now_s: float) -> bool:
        """Whether what we heated is hot and nobody has commanded anything for `idle_off_s`."""
        return self.ours and now_s - self._last_command_s > self.limits.idle_off_s

    def _trouble_with(self, one: Temperature) -> str | None:
        what = f"the {_words(one.sensor)} is at {one.actual_c:g} °C"
        broken = sensor_is_broken(one.actual_c)
        if broken and self.may_be_hot and self._heats(one.sensor):
            what = f"the sensor of the {_words(one.sensor)} is broken (it reads {one.actual_c})"
            return self._looked_at(one.sensor, what)
        if math.isfinite(one.actual_c) and one.actual_c > self._limit_c(one.sensor):
            what = f"{what}, above its limit of {self._limit_c(one.sensor):g} °C"
            return self._looked_at(one.sensor, what)
        self._doubted.discard(one.sensor)
        if broken or self.may_be_hot:
            self._lowest_c.clear()
            return None
        lowest_c = min(one.actual_c, self._lowest_c.get(one.sensor, math.inf))
        self._lowest_c[one.sensor] = lowest_c
        if one.actual_c > WARM_C and one.actual_c - lowest_c > RISE_K:
            return f"{what} and rising with its heater off (it was {lowest_c:g} °C)"
        return None

    def _looked_at(self, sensor: str, what: str) -> str | None:
        """Trouble, at once; what somebody else heats is looked at twice before it is ended."""
        if self.ours or not self._heats(sensor):
            return what
        if sensor not in self._doubted:  # a digit may be wrong, and a print may be at stake
            self._doubted.add(sensor)
            return None
        return f"{what}, read twice. We did not heat it: if it was printing, that has ended"

    def _heats(self, sensor: str) -> bool:
        return self._reported_c.get(sensor, 0) > 0 or any(
            c > 0 and (heater == "B") == (sensor == "B") for heater, c in self._asked_c.items()
        )

    def _limit_c(self, heater: str) -> float:
        return self.limits.max_bed_c if heater == "B" else self.limits.max_nozzle_c


def moves(command: str) -> bool:
    """Whether a command moves an axis or filament, so that sending it twice does it twice."""
    return _MOVES.match(command.strip()) is not None


def asks_only(command: str) -> bool:
    """Whether a command changes nothing whatever the machine is, so that it can be sent again."""
    return _ASKS.fullmatch(command.strip()) is not None


def _heat_setting(command: str) -> tuple[str, float] | None:
    """Heater and °C that a command sets, or None. A heat command without S or R sets nothing."""
    match = _SETS_HEAT.match(command.strip())
    if match is None:
        return None
    words = {letter.upper(): float(number) for letter, number in _WORD.findall(match[2])}
    wanted = [words[letter] for letter in "SR" if letter in words]
    if not wanted:
        return None
    tool = f"T{int(words['T'])}" if "T" in words else "T"
    return ("B" if match[1] in {"140", "190"} else tool), max(wanted)


def _words(sensor: str) -> str:
    return "bed" if sensor == "B" else "nozzle"
