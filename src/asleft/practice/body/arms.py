"""A delta: three towers, six arms, and what becomes of a place when its numbers are wrong.

The controller turns a place into carriage heights with the numbers in force; the true arms turn
the heights that the motors really reach into a place. Not for drawing settings on the wire.
Angles in degrees, lengths in mm. Stands on numpy and `drives`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from asleft.practice.body.drives import Point, unskewed
from asleft.practice.words.settings import Values

Heights = NDArray[np.float64]
Towers = NDArray[np.float64]

TOWER_DEGREES = {"X": 210.0, "Y": 330.0, "Z": 90.0}
"""Where the towers stand round the bed, front left, front right and back (common practice)."""
LEVEL_AT_MM = 80.0
"""The bed is levelled at three places so far from the middle, below the towers (ours)."""
PAPER_MM = 0.01
"""How well a sheet of paper tells the height, standard deviation (ours)."""


@dataclass(frozen=True)
class Geometry:
    """Towers in the plane (3 by 2), and the length of the arms at each tower (3)."""

    towers_mm: Towers
    arms_mm: Heights

    def heights(self, at: Point) -> Heights:
        """Carriage heights (3) that put the nozzle at a place."""
        away = self.towers_mm - np.array(at[:2])
        return np.asarray(at[2] + np.sqrt(self.arms_mm**2 - (away**2).sum(axis=1)))

    def place(self, heights_mm: Heights) -> Point:
        """Where the nozzle hangs below three carriages: the lower meeting of three spheres.

        Subtracting the first sphere from the others leaves two planes, and their line meets the
        first sphere twice (textbook trilateration).
        """
        centres = np.column_stack([self.towers_mm, heights_mm])
        squares = (centres**2).sum(axis=1) - self.arms_mm**2
        planes, known = 2 * (centres[1:] - centres[0]), squares[1:] - squares[0]
        start = np.linalg.solve(planes[:, :2], known)
        slope = np.linalg.solve(planes[:, :2], -planes[:, 2])
        away = start - centres[0, :2]
        a = 1 + slope @ slope
        b = 2 * (away @ slope - heights_mm[0])
        c = away @ away + heights_mm[0] ** 2 - self.arms_mm[0] ** 2
        z = (-b - np.sqrt(b * b - 4 * a * c)) / (2 * a)
        x, y = start + slope * z
        return float(x), float(y), float(z)


def geometry(
    arm_mm: float,
    radius_mm: float,
    turned_degrees: Mapping[str, float],
    further_mm: Mapping[str, float] | None = None,
) -> Geometry:
    """Three towers on a circle, each turned by its own angle and further out by its own length."""
    out = further_mm or dict.fromkeys("XYZ", 0.0)
    angles = np.radians([TOWER_DEGREES[a] + turned_degrees[a] for a in "XYZ"])
    radii = radius_mm + np.array([out[a] for a in "XYZ"])
    towers = np.column_stack([radii * np.cos(angles), radii * np.sin(angles)])
    return Geometry(towers, np.full(3, arm_mm))


@dataclass(frozen=True)
class Arms:
    """What is true of a delta: its common step error, arms, radius, and each tower for itself.

    `turned` are angles in degrees beside where the tower should stand, `further_mm` how much
    further out than `radius_mm`.
    """

    step_error: float
    arm_mm: float
    radius_mm: float
    turned: dict[str, float]
    further_mm: dict[str, float]


def draw_arms(found: Values, rng: np.random.Generator) -> Arms:
    """A delta whose numbers as found are about right; all sizes are rms and ours, no source."""
    arms = found["M665"]
    return Arms(
        step_error=float(rng.normal(0, 0.002)),
        arm_mm=arms["L"] * (1 + float(rng.normal(0, 0.002))),
        radius_mm=arms["R"] * (1 + float(rng.normal(0, 0.002))),
        turned={a: arms[a] + float(rng.normal(0, 0.03)) for a in "XYZ"},
        further_mm={a: float(rng.normal(0, 0.02)) for a in "XYZ"},
    )


class Delta:
    """A delta with its hidden geometry.

    Args:
        found: as found: `M92`, `M665` (L arms, R radius, H height, X Y Z tower angles), `M666`
            (trims).
        true: what is true of it.
        rng: draws how well a person levels the bed.
    """

    curved = True

    def __init__(self, found: Values, true: Arms, rng: np.random.Generator) -> None:
        self._rng, self._arms = rng, true
        self.true_steps_per_mm = {a: found["M92"][a] / (1 + true.step_error) for a in "XYZ"}
        self._true = geometry(true.arm_mm, true.radius_mm, true.turned, true.further_mm)
        # The switches hang where they must for the machine to have been levelled as found.
        self.stops_mm: Heights = np.zeros(3)
        self.level(found)

    def reached(self, held: Values, at: Point) -> Point:
        """The true arms below the carriages that the numbers in force sent there."""
        return self._true.place(self._carriages_mm(held, at))

    def level(self, held: Values) -> None:
        """Turn the end-stop screws until paper drags below each tower, as one does by hand.

        The middle stays where the bowl of wrong arms leaves it. No setting is touched.
        """
        self._hang(held)
        for _ in range(5):  # each screw moves the other two places a little
            for tower, angle in enumerate(np.radians(list(TOWER_DEGREES.values()))):
                place = (LEVEL_AT_MM * np.cos(angle), LEVEL_AT_MM * np.sin(angle), 0.0)
                self.stops_mm[tower] -= self.reached(held, place)[2]
        self.stops_mm += self._rng.normal(0, PAPER_MM, 3)

    def told(self) -> dict[str, Any]:
        """The hidden geometry."""
        return asdict(self._arms)

    def _hang(self, held: Values) -> None:
        """A first guess at where the switches hang: the middle at its height."""
        self.stops_mm = self._true.heights((0.0, 0.0, held["M665"]["H"]))

    def _carriages_mm(self, held: Values, at: Point) -> Heights:
        """True carriage heights: down from the switches by what the motors truly travel."""
        arms, trims = held["M665"], held["M666"]
        believed = geometry(arms["L"], arms["R"], arms)
        home = believed.heights((0.0, 0.0, arms["H"]))
        down = believed.heights(unskewed(held, at)) - home
        down = down + np.array([trims[a] for a in "XYZ"])
        travel = [held["M92"][a] / self.true_steps_per_mm[a] for a in "XYZ"]
        return np.asarray(self.stops_mm + down * np.array(travel))
