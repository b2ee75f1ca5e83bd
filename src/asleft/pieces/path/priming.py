"""The line laid at the edge of the bed before the piece, so that the nozzle is full and clean.

Within the margin that every piece keeps, so that it meets none. Stands on `legs`.
"""

from __future__ import annotations

import math

import numpy as np

from asleft.pieces.path.legs import Leg
from asleft.pieces.path.settings import PathSettings
from asleft.pieces.path.stroke import bead_mm2

_EDGE_MM = 2.0  # from the edge of the travel to the middle of the line
_LENGTH_MM = 60.0
_SPEED_MM_S = 15.0


def primed(settings: PathSettings, width_mm: float, layer_mm: float) -> list[Leg]:
    """Travel to the line's beginning and the line, in the machine's coordinates."""
    points = _arc(settings) if settings.bed_shape == "round" else _straight(settings)
    section = bead_mm2(width_mm, layer_mm)
    speed = min(_SPEED_MM_S, settings.first_layer_mm_min / 60, settings.most_mm3_s / section)
    return [
        Leg(points[:1], settings.travel_mm_min / 60),
        Leg(points[1:], speed, section),
    ]


def _straight(settings: PathSettings) -> np.ndarray:
    """Along the front edge, from the left."""
    x, y = settings.middle_mm
    front = y - settings.travel_mm[1] / 2 + _EDGE_MM
    half = min(_LENGTH_MM, settings.travel_mm[0] - 2 * _EDGE_MM) / 2
    return np.array([[x - half, front], [x + half, front]])


def _arc(settings: PathSettings) -> np.ndarray:
    """Along the front of a round bed."""
    radius = settings.travel_mm[0] / 2 - _EDGE_MM
    half = min(_LENGTH_MM / 2 / radius, math.pi / 2)
    angles = -math.pi / 2 + np.linspace(-half, half, 25)
    return np.array(settings.middle_mm) + radius * np.stack([np.cos(angles), np.sin(angles)], 1)
