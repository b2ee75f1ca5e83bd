"""What the planner must know of each piece beyond its shape: measured faces, doors, seams, axes.

One function a piece, from its parameters alone. Not for beads. Stands on the room's pieces.
"""

from __future__ import annotations

import math

from asleft.pieces.fitting import FitPiece
from asleft.pieces.marks import PLATE_MM, stroke_beads
from asleft.pieces.path.laying import Ground
from asleft.pieces.path.route import KeepOut
from asleft.pieces.path.stroke import Island
from asleft.pieces.path.walls import Axis
from asleft.pieces.round_solid import tab_legs
from asleft.pieces.solid import plate_legs
from asleft.pieces.span import SpanPiece

_WALLS = 2
_AHEAD_MM = 0.3  # of a flat: where its door is
_CLEAR_MM = 0.2  # of a face: how far off it travel stays
_BEYOND_MM = 0.03  # by how much a keep-out may stand beyond the bore that it stands for
# Counter-clockwise from front left, so that each post's doors look along the way to the next.
_POSTS = ((-1, -1), (1, -1), (1, 1), (-1, 1))


def span_ground(piece: SpanPiece, z_mm: float) -> Ground:
    """A layer of the span piece: below the jaws all in one, above post by post.

    What is raised of the ribs is no island: it is laid first, one wall round.
    """
    half = piece.pitch_mm / 2
    if z_mm < piece.base_height_mm:
        walls = max(_WALLS, max(piece.side_beads, piece.diagonal_beads) // 2)
        return Ground(walls, _rib_axes(half) + _letter_axes(piece, z_mm), (), (-2 * half, 2 * half))
    column_x, _ = piece.column_origin_mm
    islands = tuple(_post(piece, sx * half, sy * half) for sx, sy in _POSTS)
    return Ground(_WALLS, (), islands, (column_x + piece.column_width_mm, 0.0))


def _post(piece: SpanPiece, x: float, y: float) -> Island:
    """A post is entered and left through the two flats that no jaw ever touches.

    The free flats look across the post's own diagonal: the jaws of the other diagonal do not
    reach it, and X and Y have flats of their own.
    """
    out = math.hypot(x, y)
    across = (-y / out, x / out)
    reach = piece.post_mm / 2
    wide = reach + _CLEAR_MM
    short = wide * (math.sqrt(2) - 1)
    quarter = [(wide, -short), (wide, short), (short, wide), (-short, wide)]
    octagon = quarter + [(-dx, -dy) for dx, dy in quarter]

    def at(way: float) -> tuple[float, float]:
        return x + way * across[0], y + way * across[1]

    return Island(
        centre_mm=(x, y),
        seam_mm=at(-reach),
        keep_out=KeepOut(tuple((x + dx, y + dy) for dx, dy in octagon)),
        doors_mm=(at(-reach - _AHEAD_MM), at(reach + _AHEAD_MM)),
    )


def _rib_axes(half: float) -> tuple[Axis, ...]:
    corners = [(sx * half, sy * half) for sx, sy in _POSTS]
    sides = [(corners[n], corners[(n + 1) % 4]) for n in range(4)]
    return (*sides, (corners[0], corners[2]), (corners[1], corners[3]))


def _letter_axes(piece: SpanPiece, z_mm: float) -> tuple[Axis, ...]:
    """Strokes of letters that one bead fills; those of two beads are walls by themselves."""
    if z_mm < PLATE_MM or stroke_beads(piece.line_width_mm, piece.layer_mm) > 1:
        return ()
    front, right = plate_legs(piece)
    return (*front, *right)


def fit_ground(piece: FitPiece, z_mm: float) -> Ground:
    """A layer of the fit piece: every collar by itself, and above their heads every pin."""
    islands: list[Island] = []
    axes: list[Axis] = []
    one_bead = stroke_beads(piece.line_width_mm, piece.layer_mm) == 1
    sizes = [*piece.bores, *piece.pins]
    for number, ((x, y), size) in enumerate(zip(piece.centres_mm(), sizes, strict=True), start=1):
        is_bore = number <= len(piece.bores)
        if is_bore:
            islands.append(_collar(piece, x, y, size, z_mm))
        elif z_mm > piece.head_mm:
            islands.append(_pin(piece, x, y, size))
        if one_bead and z_mm > PLATE_MM:
            axes += [
                ((x + a[0], y + a[1]), (x + b[0], y + b[1]))
                for a, b in tab_legs(piece, size, number)
            ]
    return Ground(piece.wall_beads // 2, tuple(axes), tuple(islands), (0.0, -1000.0))


def _collar(piece: FitPiece, x: float, y: float, size_mm: float, z_mm: float) -> Island:
    """Its walls begin in front, in the notch; travel goes round the bore."""
    radius = size_mm / 2
    sides = max(12, math.ceil(math.pi / math.acos(radius / (radius + _BEYOND_MM))))
    reach = (radius + _BEYOND_MM / 4) / math.cos(math.pi / sides)
    turns = [2 * math.pi * n / sides for n in range(sides)]
    hole = tuple((x + reach * math.cos(a), y + reach * math.sin(a)) for a in turns)
    front = y - radius - piece.relief_mm - piece.collar_mm - 1
    return Island((x, y), (x, front), KeepOut(hole), None, _even_width(piece, z_mm))


def _even_width(piece: FitPiece, z_mm: float) -> float | None:
    """Width of bead of which an even number fills a collar where its foot makes it thinner."""
    thick = piece.collar_mm - piece.set_back_mm(z_mm)
    if thick == piece.collar_mm:
        return None
    lack = piece.layer_mm * (1 - math.pi / 4)  # by which neighbours lie closer than they are wide
    widths = [(thick + (n - 1) * lack) / n for n in range(2, piece.wall_beads + 1, 2)]
    narrow = 0.85 * piece.line_width_mm
    return min((w for w in widths if w >= narrow), key=lambda w: w - narrow)


def _pin(piece: FitPiece, x: float, y: float, size_mm: float) -> Island:
    """It is entered and left through the flat in front."""
    radius, sides = size_mm / 2, 24
    flat = -radius + piece.relief_mm
    edge = flat - _CLEAR_MM
    reach = (radius + _CLEAR_MM) / math.cos(math.pi / sides)
    lowest = math.asin(edge / (radius + _CLEAR_MM))  # where the flat begins, as an angle
    turns = [lowest + (math.pi - 2 * lowest) * n / sides for n in range(sides + 1)]
    outline = [(reach * math.cos(a), max(reach * math.sin(a), edge)) for a in turns]
    door = (x, y + flat - _AHEAD_MM)
    return Island(
        centre_mm=(x, y),
        seam_mm=(x, y + flat),
        keep_out=KeepOut(tuple((x + dx, y + dy) for dx, dy in outline)),
        doors_mm=(door, door),
    )
