"""How long legs take: a ramp up, a level part and a ramp down on every straight piece.

Corners are taken at the speed whose change the settings allow; starts and stops are at rest.
What a controller really does differs by some per cent. Stands on `legs` and numpy.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from asleft.pieces.path.legs import Leg
from asleft.pieces.path.route import Point
from asleft.pieces.path.settings import PathSettings


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
    limits = [0.0, *between.tolist(), 0.0]
    return feeding_s + _ramped(
        lengths.tolist(), speeds.tolist(), limits, settings.acceleration_mm_s2
    )


def laying_seconds(legs: Sequence[Leg], start: Point) -> float:
    """The part of it, ramps not counted, in which plastic is laid."""
    steps = np.diff(np.vstack([np.array(start), *(leg.points_mm for leg in legs)]), axis=0)
    slow = [1 / leg.speed_mm_s if leg.section_mm2 else 0.0 for leg in legs]
    each = np.repeat(slow, [len(leg.points_mm) for leg in legs])
    return float(np.hypot(*steps.T) @ each)


def _ramped(
    lengths: list[float], speeds: list[float], limits: list[float], acceleration: float
) -> float:
    """Sum over pieces; `limits` are the speeds allowed between them, one more than pieces."""
    for n in range(len(lengths) - 1, -1, -1):
        limits[n] = min(limits[n], math.sqrt(limits[n + 1] ** 2 + 2 * acceleration * lengths[n]))
    total = 0.0
    for n, (length, speed) in enumerate(zip(lengths, speeds, strict=True)):
        low = limits[n]
        high = min(limits[n + 1], math.sqrt(low**2 + 2 * acceleration * length))
        limits[n + 1] = high
        # Area under the ramps is distance: the peak that fits, or the wanted speed.
        peak = min(speed, math.sqrt((low**2 + high**2) / 2 + acceleration * length))
        ramps = (2 * peak**2 - low**2 - high**2) / (2 * acceleration)
        total += (2 * peak - low - high) / acceleration + max(0.0, length - ramps) / peak
    return total
