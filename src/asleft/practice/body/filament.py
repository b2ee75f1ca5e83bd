"""The filament above the entry: marks, and how much really goes in.

Not for what a person reads off the mark. Above a hidden rate the gear slips and less goes in.
Stands on the hidden truth and a numpy Generator.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

SCATTER_MM = 0.01
"""Random walk of the fed length, mm for each square root of a mm (ours): 0.1 mm on 100 mm."""
GROUND_SHARE = 0.3
"""Share that a gear still pushes against a nozzle that is too cold (ours)."""


@dataclass
class Filament:
    """One spool in the extruder. `above_mm` is the distance of the mark from the entry."""

    slip_onset_mm_min: float
    slip_steepness: float
    rng: np.random.Generator
    above_mm: float | None = None
    detached: bool = False

    def mark(self, distance_mm: float) -> None:
        """Put a new mark, true distance above the entry."""
        self.above_mm = distance_mm

    def push(self, motor_mm: float, rate_mm_min: float, *, melts: bool) -> float:
        """Turn the motor by a true length; returns what went in, mm (negative: drawn back)."""
        share = 1.0
        if motor_mm > 0 and not self.detached:
            share = self._grip(rate_mm_min) if melts else GROUND_SHARE
        fed = motor_mm * share + float(self.rng.normal(0, SCATTER_MM * abs(motor_mm) ** 0.5))
        if self.above_mm is not None:
            self.above_mm -= fed
        return fed

    def _grip(self, rate_mm_min: float) -> float:
        over = max(0.0, rate_mm_min / self.slip_onset_mm_min - 1)
        return 1 / (1 + self.slip_steepness * over)
