"""Settings of the practice controller: what is in force, what is stored, how both are told.

One table says which codes exist, their letters and decimals; values are single-precision floats
as a small controller stores them. Not for what settings do. Stands on numpy.
"""

from __future__ import annotations

import binascii
import struct
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

Values = dict[str, dict[str, float]]


@dataclass(frozen=True)
class Shape:
    """One settings line: heading, decimals, and how it goes with inches (power of the length)."""

    heading: str
    decimals: int
    length_power: int = 0


SHAPES: Mapping[str, Shape] = {
    "M200": Shape("Filament settings", 2),
    "M92": Shape("Steps per unit", 2, -1),
    "M203": Shape("Highest rates (units/s)", 2, 1),
    "M201": Shape("Highest accelerations (units/s2)", 2, 1),
    "M204": Shape("Accelerations of print, retract, travel", 2, 1),
    "M205": Shape("Rates without ramp", 2, 1),
    "M206": Shape("Home offset", 2, 1),
    "M145": Shape("Warming presets", 0),
    "M301": Shape("Nozzle control", 2),
    "M851": Shape("Probe offset", 2, 1),
    "M852": Shape("Skew factors", 6),
    "M665": Shape("Arms", 4),
    "M666": Shape("End-stop trims", 4, 1),
    "M569": Shape("Quiet drivers", 0),
    "M906": Shape("Motor currents (mA)", 0),
}

FACTORY: Values = {
    "M200": {"S": 0, "D": 1.75},
    "M92": {"X": 80, "Y": 80, "Z": 400, "E": 93},
    "M203": {"X": 300, "Y": 300, "Z": 8, "E": 25},
    "M201": {"X": 1500, "Y": 1500, "Z": 100, "E": 5000},
    "M204": {"P": 800, "R": 1000, "T": 900},
    "M205": {"X": 8, "Y": 8, "Z": 0.4, "E": 5},
    "M206": {"X": 0, "Y": 0, "Z": 0},
    "M145": {"S": 0, "H": 205, "B": 60, "F": 255},
    "M301": {"P": 21.73, "I": 1.54, "D": 76.55},
    "M851": {"X": 0, "Y": 0, "Z": -1.35},
    "M852": {"I": 0, "J": 0, "K": 0},
    "M569": {"S": 1},
    "M906": {"X": 760, "Y": 760, "Z": 760, "E": 850},
}

DELTA: Values = {
    **FACTORY,
    "M92": {"X": 80, "Y": 80, "Z": 80, "E": 93},
    "M203": {"X": 200, "Y": 200, "Z": 200, "E": 25},
    "M201": {"X": 1500, "Y": 1500, "Z": 1500, "E": 5000},
    "M205": {"X": 8, "Y": 8, "Z": 8, "E": 5},
    "M665": {"L": 268, "R": 140, "H": 240, "S": 100, "X": 0, "Y": 0, "Z": 0},
    "M666": {"X": 0, "Y": 0, "Z": 0},
}
"""On a delta X, Y, Z of M92 are the towers; M665 has arms, radius, height, segments a second and
tower angles, M666 the trims at the end stops."""

STEPS_PER_TURN = 3200
"""Full steps times microsteps, gear 1 (200 times 16, common practice)."""
MM_PER_INCH = 25.4


def as_stored(value: float) -> float:
    """A value as a single-precision float keeps it."""
    return float(np.float32(value))


class Settings:
    """Values in force, and apart from them the storage that survives a power cycle.

    Args:
        found: values that differ from the factory's, in force and stored at the beginning.
        factory: the codes of this machine with their values.
        extruders: how many have steps: `E`, then `E1`, ….
        inches: units after power on.
    """

    def __init__(
        self,
        found: Values | None = None,
        *,
        factory: Values = FACTORY,
        extruders: int = 1,
        inches: bool = False,
    ) -> None:
        self.tools = ["E", *(f"E{n}" for n in range(1, extruders))]
        self.factory = _copy(factory)
        steps = self.factory["M92"]
        steps.update(dict.fromkeys(self.tools, steps["E"]))
        self.in_force = _copy(self.factory)
        for code, words in (found or {}).items():
            if code in self.in_force:
                self.in_force[code].update({k: as_stored(v) for k, v in words.items()})
        self.storage: Values | None = _copy(self.in_force)
        self.inches = self.inches_at_start = inches
        self.storage_is_lost = False

    def set(self, code: str, words: Mapping[str, float | None]) -> list[str]:
        """Put values in force; returns letters the line has no place for."""
        known = self.in_force[code]
        for letter, value in words.items():
            if letter in known and value is not None:
                known[letter] = as_stored(value * self._unit(code, letter))
        return [letter for letter in words if letter not in known]

    def told(self, code: str) -> dict[str, float]:
        """The values in force of one code, in the units in force."""
        return {k: v / self._unit(code, k) for k, v in self.in_force[code].items()}

    def store(self) -> tuple[int, int]:
        """Store everything in force; returns bytes and checksum as told on the line."""
        if not self.storage_is_lost:
            self.storage = _copy(self.in_force)
        return self.size_and_crc()

    def reload(self) -> bool:
        """Take storage into force; False where nothing is stored (then the factory's)."""
        self.in_force = _copy(self.storage if self.storage is not None else self.factory)
        return self.storage is not None

    def forget(self) -> None:
        """Put the factory's values in force; storage stays."""
        self.in_force = _copy(self.factory)

    def size_and_crc(self) -> tuple[int, int]:
        """Bytes and checksum of what is in force."""
        flat = [v for words in self.in_force.values() for v in words.values()]
        packed = struct.pack(f"<{len(flat)}f", *flat)
        return len(packed), binascii.crc_hqx(packed, 0)

    def _unit(self, code: str, letter: str) -> float:
        power = SHAPES[code].length_power
        if code == "M665" and letter in "LRH":  # beside lengths there are angles and a rate
            power = 1
        return MM_PER_INCH**power if self.inches else 1.0


def _copy(values: Values) -> Values:
    return {code: {k: as_stored(v) for k, v in words.items()} for code, words in values.items()}
