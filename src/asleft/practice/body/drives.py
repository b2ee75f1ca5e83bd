"""From where the controller sends the carriage to where it really goes, for each drive.

Own kinematics of the practice machine: true steps, pulleys and frame against the settings in force.
Not for slack, for round-shaped errors or for plastic. Stands on the hidden truth; the arms of a
delta are `arms`.
"""

from __future__ import annotations

from typing import Any, Protocol

import numpy as np

from asleft.practice.body.truth import Truth
from asleft.practice.words.settings import Values

Point = tuple[float, float, float]

MIDDLE_SPAN_MM = 100.0
"""Over this length about the middle, and up from the bed, a drive's errors are told."""

BELTS_RMS = 0.0002
"""Difference of X and Y on crossed belts that run not parallel to their rails (ours)."""


class Drive(Protocol):
    """One drive with its hidden truth.

    `true_steps_per_mm` are those of its motors under the names of their settings, X Y Z;
    `curved` says whether scale and shear alone do not tell where the carriage is.
    """

    true_steps_per_mm: dict[str, float]
    curved: bool

    def reached(self, held: Values, at: Point) -> Point:
        """Where the carriage truly is when it is sent to `at`, mm, with `held` in force."""
        ...

    def level(self, held: Values) -> None:
        """What a person does to the bed before a print, so that the first layer sticks."""
        ...

    def told(self) -> dict[str, Any]:
        """Hidden numbers of its own, as JSON values."""
        ...


class Cartesian:
    """Each axis has a motor of its own; the frame is out of square by the shear."""

    curved = False

    def __init__(self, truth: Truth, found: Values) -> None:
        self._shear = truth.shear
        self.true_steps_per_mm = {a: found["M92"][a] / (1 + truth.step_error[a]) for a in "XYZ"}

    def reached(self, held: Values, at: Point) -> Point:
        """Every axis by its scale, Y leaning along X by the shear."""
        scale = _scales(held, self.true_steps_per_mm)
        x, y, z = unskewed(held, at)
        y *= scale["Y"]
        return scale["X"] * x + self._shear * y, y, scale["Z"] * z

    def level(self, held: Values) -> None:
        """Nothing that changes a distance."""

    def told(self) -> dict[str, Any]:
        """Nothing beyond the truth that all machines have."""
        return {}


class CrossedBelts:
    """Two motors move X and Y jointly: motor A turns with x + y, motor B with x - y.

    The setting X is the steps of motor A, Y those of motor B. Pulleys that differ do not show as
    an X/Y difference but as shear.

    Args:
        truth: its `step_error` of X and Y are those of motors A and B; the frame adds its shear.
        found: as found, from which the true steps follow.
        belts: how far X and Y differ because the belts do not run parallel to their rails.
    """

    curved = False

    def __init__(self, truth: Truth, found: Values, belts: float) -> None:
        self._shear, self._belts = truth.shear, belts
        self.true_steps_per_mm = {a: found["M92"][a] / (1 + truth.step_error[a]) for a in "XYZ"}

    def reached(self, held: Values, at: Point) -> Point:
        """x = (A + B)/2 and y = (A - B)/2 of what the motors truly pull, then the frame."""
        scale = _scales(held, self.true_steps_per_mm)
        x, y, z = unskewed(held, at)
        a, b = scale["X"] * (x + y), scale["Y"] * (x - y)
        x = (a + b) / 2 * (1 + self._belts / 2)
        y = (a - b) / 2 * (1 - self._belts / 2)
        return x + self._shear * y, y, scale["Z"] * z

    def level(self, held: Values) -> None:
        """Nothing that changes a distance."""

    def told(self) -> dict[str, Any]:
        """How far X and Y differ by the belts' ways."""
        return {"belts": self._belts}


def build_drive(name: str, truth: Truth, found: Values, rng: np.random.Generator) -> Drive:
    """The drive of this name, with its truth drawn."""
    from asleft.practice.body.arms import Delta, draw_arms

    if name == "delta":
        return Delta(found, draw_arms(found, rng), rng)
    if name == "crossed-belt":
        return CrossedBelts(truth, found, belts=float(rng.normal(0, BELTS_RMS)))
    return Cartesian(truth, found)


def unskewed(held: Values, at: Point) -> Point:
    """Where the motors are sent: x - k·y with the skew factor in force, where there is one."""
    x, y, z = at
    return x - held.get("M852", {}).get("I", 0.0) * y, y, z


def plane_errors(drive: Drive, held: Values, middle: Point) -> tuple[dict[str, float], float]:
    """Scale errors of X, Y, Z and the shear, by differences of the map about the middle.

    Returns:
        `|∂X| - 1`, the part of ∂Y at right angles to ∂X minus 1, the height's, and the lean of ∂Y
        along ∂X over its upright part, rad: a turn of the whole piece is no error.
    """
    half = MIDDLE_SPAN_MM / 2
    x, y, z = middle

    def between(far: Point, near: Point) -> np.ndarray:
        reached = [np.array(drive.reached(held, point)) for point in (far, near)]
        return (reached[0] - reached[1]) / MIDDLE_SPAN_MM  # type: ignore[no-any-return]

    along_x = between((x + half, y, z), (x - half, y, z))[:2]
    along_y = between((x, y + half, z), (x, y - half, z))[:2]
    up = between((x, y, z + MIDDLE_SPAN_MM), (x, y, z))[2]
    length = float(np.hypot(*along_x))
    upright = float(along_x[0] * along_y[1] - along_x[1] * along_y[0]) / length
    lean = float(along_x @ along_y) / length
    return {"X": length - 1, "Y": upright - 1, "Z": float(up) - 1}, lean / upright


def _scales(held: Values, true_steps_per_mm: dict[str, float]) -> dict[str, float]:
    return {axis: held["M92"][axis] / true for axis, true in true_steps_per_mm.items()}
