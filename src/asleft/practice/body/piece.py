"""What decides the shape of a printed piece beside its path: the machine's errors while it prints.

Not the piece: `deposit` makes beads of what was executed, `shape_span` and its like find the faces.
Stands on numpy.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

BELT_TURN_MM = 40.0
SCREW_TURN_MM = 8.0
CELLS = 8
"""Into so many cells an axis is cut where a drive's map is curved (ours; errors below 1 µm)."""

Array = npt.NDArray[np.float64]
Reached = Callable[[tuple[float, float, float]], tuple[float, float, float]]


@dataclass(frozen=True)
class MotionErrors:
    """What decides the shape at the moment of printing, from the steps and skew in force.

    `scale` is steps in force over true steps, minus 1; `shear` in rad, after the active factor;
    `fed_ratio` true length of filament over commanded, overrides included. `reached` says where
    the carriage truly is when it is sent to a place; None where scale and shear say it all.
    """

    scale: dict[str, float]
    shear: float
    fed_ratio: float
    reached: Reached | None = field(default=None, compare=False)

    def places_mm(self, sent_mm: Array) -> Array:
        """Where the carriage truly is at places (n, 3) that it is sent to; slack not counted."""
        if self.reached is not None:
            return _between_knots(self.reached, sent_mm)
        x, y, z = sent_mm.T
        far = (1 + self.scale["Y"]) * y
        across = (1 + self.scale["X"]) * x + self.shear * far
        return np.stack([across, far, (1 + self.scale["Z"]) * z], axis=1)


def printed_scale(scale: dict[str, float], shrinkage: dict[str, float]) -> dict[str, float]:
    """`(1 + s)(1 + h) - 1` for X, Y, Z."""
    return {a: (1 + scale[a]) * (1 + shrinkage[a]) - 1 for a in "XYZ"}


def _between_knots(reached: Reached, sent_mm: Array) -> Array:
    """A curved map at many places: asked at knots of a grid round them, straight between those."""
    low = sent_mm.min(axis=0) - 1e-6
    size = sent_mm.max(axis=0) + 1e-6 - low
    knots = np.empty((CELLS + 1, CELLS + 1, CELLS + 1, 3))
    for index in np.ndindex(CELLS + 1, CELLS + 1, CELLS + 1):
        x, y, z = (low + size * np.array(index) / CELLS).tolist()
        knots[index] = reached((x, y, z))
    share = (sent_mm - low) / size * CELLS
    cell = np.minimum(share.astype(int), CELLS - 1)
    share -= cell
    found = np.zeros_like(sent_mm)
    for corner in np.ndindex(2, 2, 2):
        weight = np.prod(np.where(corner, share, 1 - share), axis=1)
        found += weight[:, None] * knots[tuple((cell + np.array(corner)).T)]
    return found
