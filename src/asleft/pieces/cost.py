"""What a span piece costs in plastic and time: an estimate from volumes and one mean rate.

Not a tool path: without one nobody knows the minutes, and the estimate says so. Stands on
`span` alone, so that planning needs no solid.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from asleft.pieces.span import SpanPiece

DENSITY_G_CM3 = 1.24  # PLA; makers' data sheets agree to 2 %; from memory
RATE_MM3_S = 3.6  # mean with travel, slow outer walls: 92 to 108 min for 21.6 cm³ in a trial plan
WALLS = 2  # beads round a post or the column
SKIN_LAYERS = 4  # closed layers below and above
INSIDE_SHARE = 0.15  # of the volume within walls and skins


@dataclass(frozen=True)
class Cost:
    """Grams and minutes of one body or of all."""

    grams: float
    minutes: float
    basis: str = (
        f"estimated from volumes at {RATE_MM3_S:g} mm³/s, with {WALLS} walls, {SKIN_LAYERS} closed "
        f"layers and {INSIDE_SHARE:.0%} inside; heating and homing not counted"
    )

    @classmethod
    def of_volume(cls, volume_mm3: float) -> Cost:
        """Cost of so much plastic."""
        return cls(volume_mm3 / 1000 * DENSITY_G_CM3, volume_mm3 / RATE_MM3_S / 60)


def span_cost(piece: SpanPiece) -> Cost:
    """Posts, ribs and plates, without the column."""
    letters = len(f"X> {piece.mark}".rstrip()) + len("Y>")
    return Cost.of_volume(_ribs_mm3(piece) + 4 * _post_mm3(piece) + letters * _LETTER_MM3)


def column_cost(piece: SpanPiece) -> Cost:
    """The stepped column; nothing where there is none."""
    deep = piece.land_mm * len(piece.lands_mm)
    volume, below = 0.0, 0.0
    for height in piece.column_heights_mm:
        volume += _filled_mm3(piece, piece.column_width_mm, deep, height - below)
        below, deep = height, deep - piece.land_mm
    return Cost.of_volume(volume)


_LETTER_MM3 = 55.0  # a raised letter and its piece of plate


def _ribs_mm3(piece: SpanPiece) -> float:
    """Solid beads between the posts; crossings once."""
    sides = 4 * _rib_mm3(piece, piece.pitch_mm, piece.side_beads)
    cross = 2 * _rib_mm3(piece, piece.pitch_mm * math.sqrt(2), piece.diagonal_beads)
    beads = piece.middle_beads if piece.is_raised else piece.diagonal_beads
    height = piece.middle_height_mm if piece.is_raised else piece.base_height_mm
    return sides + cross - piece.rib_mm(beads) ** 2 * height


def _rib_mm3(piece: SpanPiece, length: float, beads: int) -> float:
    """One rib from face to face of its posts."""
    ends, middle = length - piece.post_mm, 0.0
    if piece.is_raised:
        middle = length - 2 * piece.low_mm
        ends -= middle
    low = ends * piece.rib_mm(beads) * piece.base_height_mm
    return low + middle * piece.rib_mm(piece.middle_beads) * piece.middle_height_mm


def _post_mm3(piece: SpanPiece) -> float:
    """An octagon over flats w has the area 2 (√2 − 1) w² and the girth 8 (√2 − 1) w."""
    area = 2 * piece.flat_mm * piece.post_mm
    girth = 8 * piece.flat_mm
    return _sparse_mm3(piece, area, girth, piece.post_height_mm)


def _filled_mm3(piece: SpanPiece, wide: float, deep: float, height: float) -> float:
    return _sparse_mm3(piece, wide * deep, 2 * (wide + deep), height)


def _sparse_mm3(piece: SpanPiece, area: float, girth: float, height: float) -> float:
    """Plastic in a body with walls, closed skins and a sparse inside."""
    inner = max(0.0, area - girth * piece.rib_mm(WALLS))
    skins = min(height, 2 * SKIN_LAYERS * piece.layer_mm)
    return (area - inner) * height + inner * (skins + INSIDE_SHARE * (height - skins))
