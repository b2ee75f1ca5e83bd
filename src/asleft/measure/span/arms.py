"""Arm length and radius of a delta: what they do to X and Y, and which ones put X and Y right.

Three towers, arms of equal length L, radius R from the middle to where they are hinged. Not for
tower angles or single arms: one scale tells nothing of them. Stands on Pythagoras; no reading is
seen here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from asleft.errors import InputError
from asleft.measure.linear import Array

REACH_MM = 50.0  # half a usual span piece, where nobody says how far out was read
_TURN = np.cos(np.linspace(0.0, 2 * np.pi, 24, endpoint=False))
_STEP = 1e-6  # relative; for derivatives
_ROUNDS = 8


@dataclass(frozen=True)
class Arms:
    """Arm length and radius, mm.

    A carriage stands at z + sqrt(L² - |p - R·t|²) for the place (p, z) and its tower's direction
    t (Pythagoras). On a circle of radius r its mean is the bowl of the bed, and the part that
    turns with the direction once around is what moves X and Y. With three towers alike, the
    parts that turn two and three times around cancel along and across a piece in the middle.
    """

    length_mm: float
    radius_mm: float

    def __post_init__(self) -> None:
        """Refuse arms that cannot reach.

        Raises:
            InputError: a size of 0 or less, or a radius that the arms do not span.
        """
        if not 0 < self.radius_mm < self.length_mm < math.inf:
            raise InputError(
                f"arms of {self.length_mm:g} mm on a radius of {self.radius_mm:g} mm are"
                " impossible",
                hint="Both are above 0, and the arms are longer than the radius.",
                where="arms",
            )

    @classmethod
    def of(cls, values: Mapping[str, float] | None) -> Arms | None:
        """From L and R by name; None where one of them is not known."""
        if values is None or not {"L", "R"} <= set(values):
            return None
        return cls(values["L"], values["R"])

    def corrected(self, scale: float, reach_mm: float = REACH_MM) -> Arms:
        """The arms with which X and Y, now `scale` (relative) too large, come out right.

        One scale does not tell two lengths. These are the ones that leave the bed as flat as it
        now is at `reach_mm` off the middle, where X and Y come out right exactly: on that circle
        they put the carriages where the old ones did on the circle 1/(1 + scale) times as large.

        Args:
            scale: what X and Y are too large by, relative.
            reach_mm: how far off the middle it was read.
        """
        reach_mm = min(reach_mm, 0.9 * (self.length_mm - self.radius_mm))
        wanted = self._circle(reach_mm / (1 + scale))
        found = np.array([self.length_mm, self.radius_mm])
        for _ in range(_ROUNDS):
            here = Arms(*found)._circle(reach_mm)
            steps = _STEP * found
            slopes = [
                (Arms(*(found + np.eye(2)[k] * steps[k]))._circle(reach_mm) - here) / steps[k]
                for k in (0, 1)
            ]
            found = found + np.linalg.solve(np.column_stack(slopes), wanted - here)
        return Arms(float(found[0]), float(found[1]))

    def corrected_u(
        self, scale: float, u: float, reach_mm: float = REACH_MM
    ) -> tuple[float, float]:
        """Standard uncertainty of the corrected L and R, mm, from that of the scale (JCGM 100).

        L and R as given are what the controller holds: exact numbers.
        """
        low, high = (self.corrected(scale + side * u / 2, reach_mm) for side in (-1, 1))
        return abs(high.length_mm - low.length_mm), abs(high.radius_mm - low.radius_mm)

    def stretch_to(self, after: Arms, reach_mm: float = REACH_MM) -> float:
        """By which factor X and Y come out longer with the arms `after` than with these."""
        return self._met(after._circle(reach_mm)[1], reach_mm) / reach_mm

    def bowl_by_steps(self, stretch: float, reach_mm: float = REACH_MM) -> float:
        """How much higher, against the middle, the nozzle passes at `reach_mm`, mm.

        That is with steps per mm that make every carriage go `stretch` times as far.
        """
        bowl_mm, wave_mm = stretch * self._circle(reach_mm)
        return float(bowl_mm - self._circle(self._met(wave_mm, reach_mm))[0])

    def _met(self, wave_mm: float, near_mm: float) -> float:
        """The circle on which these carriages have this first wave, mm; Newton's method."""
        met_mm = near_mm
        for _ in range(_ROUNDS):
            here, step_mm = self._circle(met_mm)[1], _STEP * near_mm
            slope = (self._circle(met_mm + step_mm)[1] - here) / step_mm
            met_mm -= float((here - wave_mm) / slope)
        return met_mm

    def _circle(self, reach_mm: float) -> Array:
        """(2,): mean depth of a carriage on a circle against the middle, and its first wave, mm."""
        across = self.radius_mm**2 + reach_mm**2 - 2 * self.radius_mm * reach_mm * _TURN
        stands = np.sqrt(self.length_mm**2 - across)
        middle = math.sqrt(self.length_mm**2 - self.radius_mm**2)
        return np.array([np.mean(stands) - middle, 2 * np.mean(stands * _TURN)])
