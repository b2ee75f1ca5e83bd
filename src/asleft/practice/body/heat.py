"""Heaters of the practice machine: first-order warming and cooling on its own clock.

Not a model of a controller's loop: full power until the target, then held with a small ripple.
Temperatures are brought up to date when asked, so nothing has to tick. Stands on nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

AMBIENT_C = 22.0
WINDOW_C = 1.5
"""Within this of the target a heat-wait counts as reached."""


@dataclass
class Heater:
    """One heater. Temperatures in °C, time constants in s.

    `ceiling_c` is where full power would end; `time_constant_s` that of warming and of cooling.
    At 330 °C and 95 s a nozzle needs 90 s from cold to 210 °C (ours, from memory of the trade).
    """

    ceiling_c: float
    time_constant_s: float
    limit_c: float
    target_c: float = 0.0
    rises_c_s: float = 0.0
    _at_c: float = AMBIENT_C
    _when_s: float = 0.0

    def read_c(self, now_s: float) -> float:
        """The temperature now, with 0.2 °C of ripple where it is being held."""
        self._advance(now_s)
        if self.target_c and abs(self._at_c - self.target_c) < 0.01 and not self.rises_c_s:
            return self._at_c + 0.2 * math.sin(now_s / 3.0)
        return self._at_c

    def aim(self, target_c: float, now_s: float) -> float:
        """Set the target, held between 0 and the limit; returns what it became."""
        self._advance(now_s)
        self.target_c = min(max(0.0, target_c), self.limit_c)
        return self.target_c

    def reached(self, now_s: float, *, cooling_too: bool = False) -> bool:
        """Whether the target is reached; off counts as reached, and so does too hot, unless
        cooling is waited for too."""
        above_c = self.read_c(now_s) - self.target_c
        return not self.target_c or -WINDOW_C <= above_c <= (WINDOW_C if cooling_too else math.inf)

    def power(self) -> int:
        """Power as controllers tell it, 0 to 127."""
        if not self.target_c:
            return 0
        if self._at_c < self.target_c - 0.01:
            return 127
        return round(127 * (self.target_c - AMBIENT_C) / (self.ceiling_c - AMBIENT_C))

    def _advance(self, now_s: float) -> None:
        elapsed = max(0.0, now_s - self._when_s)
        self._when_s = now_s
        decay = math.exp(-elapsed / self.time_constant_s)
        if self.rises_c_s:  # a shorted switch: power without being asked
            self._at_c += self.rises_c_s * elapsed
        elif self.target_c > self._at_c:
            warmed = self.ceiling_c + (self._at_c - self.ceiling_c) * decay
            self._at_c = min(self.target_c, warmed)
        else:
            cooled = AMBIENT_C + (self._at_c - AMBIENT_C) * decay
            self._at_c = max(self.target_c, cooled)
