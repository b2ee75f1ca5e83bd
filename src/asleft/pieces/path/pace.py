"""How long legs take: a ramp up, a level part and a ramp down on every straight piece.

Corners are taken at the speed whose change the settings allow; starts and stops are at rest.
What a controller really does differs by some per cent. Stands on `legs` and numpy.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from asleft.pieces.path.legs import Leg
from asleft.pieces.path.route import Point
from asleft.pieces.path.settings import PathSettings

Array = npt.NDArray[np.float64]


def seconds(legs: Sequence[Leg], start: Point, settings: PathSettings) -> float:
    """Duration of legs from rest to rest, drawing back and pushing forward included."""
    counts = [len(leg.points_mm) for leg in legs]
    steps = np.diff(np.vstack([np.array(start), *(leg.points_mm for leg in legs)]), axis=0)
    speeds = np.repeat([leg.speed_mm_s for leg in legs], counts)
    back = np.repeat([leg.drawn_back for leg in legs], counts)
    lengths = np.hypot(*steps.T)
    moving = lengths > 1e-9
    steps, lengths, speeds, back = steps[moving], lengths[moving], speeds[moving], back[moving]
    if not len(lengths):
        return 0.0
    ways = steps / lengths[:, None]
    turn = np.hypot(*(ways[1:] - ways[:-1]).T)
    corner = settings.corner_mm_s / np.maximum(turn, 1e-9)
    between = np.minimum(corner, np.minimum(speeds[1:], speeds[:-1]))
    # The axes stand while the filament is drawn back or pushed forward.
    stops = back[1:] != back[:-1]
    between[stops] = 0.0
    feeding_s = (int(stops.sum()) + int(back[0])) * settings.retract_mm
    feeding_s /= settings.retract_mm_min / 60
    limits = np.concatenate([[0.0], between, [0.0]])
    return feeding_s + _ramped(lengths, speeds, limits, settings.acceleration_mm_s2)


def laying_seconds(legs: Sequence[Leg], start: Point) -> float:
    """The part of it, ramps not counted, in which plastic is laid."""
    steps = np.diff(np.vstack([np.array(start), *(leg.points_mm for leg in legs)]), axis=0)
    slow = [1 / leg.speed_mm_s if leg.section_mm2 else 0.0 for leg in legs]
    each = np.repeat(slow, [len(leg.points_mm) for leg in legs])
    return float(np.hypot(*steps.T) @ each)


def _ramped(lengths: Array, speeds: Array, limits: Array, acceleration: float) -> float:
    """Sum over pieces; `limits` are the speeds allowed between them, one more than pieces.

    Over a length L a square of speed changes by 2·a·L at most: what is reached at one end bounds
    all that lies before it, and behind it.
    """
    gained = 2 * acceleration * np.concatenate([[0.0], np.cumsum(lengths)])
    squares = np.minimum.accumulate((limits**2 + gained)[::-1])[::-1] - gained
    squares = np.minimum.accumulate(squares - gained) + gained
    reached = np.sqrt(np.maximum(squares, 0.0))
    low, high = reached[:-1], reached[1:]
    # Area under the ramps is distance: the peak that fits, or the wanted speed.
    peak = np.minimum(speeds, np.sqrt((low**2 + high**2) / 2 + acceleration * lengths))
    ramps = (2 * peak**2 - low**2 - high**2) / (2 * acceleration)
    level = np.maximum(0.0, lengths - ramps) / peak
    return float(((2 * peak - low - high) / acceleration + level).sum())
