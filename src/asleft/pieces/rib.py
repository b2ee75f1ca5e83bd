"""How wide a whole number of beads is. Stands on nothing."""

from __future__ import annotations

import math


def spacing_mm(line_width_mm: float, layer_mm: float) -> float:
    """Distance of neighbouring beads: a stadium section's area over its height."""
    return line_width_mm - layer_mm * (1 - math.pi / 4)


def rib_mm(beads: int, line_width_mm: float, layer_mm: float) -> float:
    """Width of so many beads laid side by side."""
    return line_width_mm + (beads - 1) * spacing_mm(line_width_mm, layer_mm)
