"""Choosing a span piece for a bed and a caliper, and setting any piece in the middle of a bed.

Not the piece itself and not its readings. Stands on `span`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Protocol

from asleft.errors import InputError
from asleft.pieces.span import SpanPiece

MARGIN_MM = 5.0  # between the piece and the edge of the travel, all round
STEP_MM = 5.0  # drawn sizes stay round numbers
LARGEST_MM = 140.0  # beyond, plastic and minutes grow and the caliper, not the span, sets u
REACH_SPARE_MM = 2.0  # a caliper is not opened to its last millimetre
_PARTS = (0.2, 0.6, 1.0)  # heights of the lands as parts of the tallest
_TALLEST_MM = 100.0


class OnBed(Protocol):
    """What setting down asks of a piece."""

    def outline_mm(self) -> list[tuple[float, float]]:
        """Outermost corners of everything on the bed."""

    @property
    def tallest_mm(self) -> float:
        """Height of the whole."""


def largest_piece(
    *,
    bed_shape: str,
    travel_mm: tuple[float, float, float],
    reach_mm: float,
    column: bool = True,
    **sizes: Any,
) -> SpanPiece:
    """The span piece with the longest pitch that bed and caliper allow, in steps of 5 mm.

    Args:
        bed_shape: `square` (any rectangle) or `round` (diameter in `travel_mm[0]`).
        travel_mm: X, Y, Z.
        reach_mm: the longest outside length that the caliper takes.
        column: whether heights are wanted; left out too where Z is below 30 mm.
        sizes: further parameters of `SpanPiece`; a `pitch_mm` among them is kept if it fits.

    Raises:
        InputError: bed too small or reach too short; the hint says what would do.
    """
    if bed_shape not in ("square", "round"):
        raise InputError(
            f"{bed_shape!r} is no bed shape", hint="It is square or round.", where="bed shape"
        )
    for name, value in zip(("X", "Y", "Z", "reach"), (*travel_mm, reach_mm), strict=True):
        if not 0 < value < math.inf:
            raise InputError(f"{value:g} is impossible", hint="Give a size above 0.", where=name)
    if column:
        heights = _heights(travel_mm[2], reach_mm, sizes.get("layer_mm", SpanPiece.layer_mm))
        sizes.setdefault("column_heights_mm", heights)
    else:
        sizes["column_heights_mm"] = ()
    if sizes.get("pitch_mm") is not None:
        return _given(SpanPiece(**sizes), bed_shape, travel_mm, reach_mm)
    sizes.pop("pitch_mm", None)
    post = sizes.get("post_mm", SpanPiece.post_mm)
    smallest = math.ceil(3 * post / STEP_MM) * STEP_MM
    by_reach = math.floor((reach_mm - post - REACH_SPARE_MM) / math.sqrt(2) / STEP_MM) * STEP_MM
    if by_reach < smallest:
        needed = smallest * math.sqrt(2) + post + REACH_SPARE_MM
        raise InputError(
            f"a reach of {reach_mm:g} mm is too short for the smallest piece",
            hint=f"A caliper that reaches {math.ceil(needed)} mm would do.",
            where="reach",
        )
    pitch = min(by_reach, LARGEST_MM)
    while pitch >= smallest:
        piece = SpanPiece(pitch_mm=pitch, **sizes)
        if fits(piece, bed_shape, travel_mm):
            return piece
        pitch -= STEP_MM
    raise _too_small(SpanPiece(pitch_mm=smallest, **sizes), bed_shape, travel_mm)


def _given(
    piece: SpanPiece, bed_shape: str, travel_mm: tuple[float, float, float], reach_mm: float
) -> SpanPiece:
    """The piece of a pitch that was asked for, or the largest that would do instead."""
    longest = max(place.nominal_mm for place in piece.places())
    if longest + REACH_SPARE_MM <= reach_mm + 1e-9 and fits(piece, bed_shape, travel_mm):
        return piece
    others = {k: v for k, v in piece.to_dict().items() if k != "pitch_mm"}
    heights = tuple(others.pop("column_heights_mm"))
    nearest = largest_piece(
        bed_shape=bed_shape,
        travel_mm=travel_mm,
        reach_mm=reach_mm,
        **{**others, "column_heights_mm": heights},
    )
    raise InputError(
        f"a pitch of {piece.pitch_mm:g} mm does not go with this bed and this reach",
        hint=f"A pitch of {nearest.pitch_mm:g} mm would do.",
        where="pitch",
    )


def fits(piece: OnBed, bed_shape: str, travel_mm: Sequence[float]) -> bool:
    """Whether the piece lies on the bed with its margin and stays below the top of Z."""
    if piece.tallest_mm + MARGIN_MM > travel_mm[2]:
        return False
    outline = piece.outline_mm()
    x, y = _extent(outline)
    wide, deep = travel_mm[0] - 2 * MARGIN_MM, travel_mm[1] - 2 * MARGIN_MM
    if bed_shape == "square":
        return x <= wide and y <= deep
    if max(x, y) > wide:
        return False
    # The circle about the middle of all is mostly small enough, and soon found.
    cx, cy = centre_mm(piece, "square")
    about = max(math.hypot(px - cx, py - cy) for px, py in outline)
    return about <= wide / 2 or smallest_circle(outline)[2] <= wide / 2 + 1e-9


def demand_on_bed(piece: OnBed, bed_shape: str, travel_mm: Sequence[float]) -> None:
    """Refuse a piece that does not lie on the bed.

    Raises:
        InputError: the hint names a bed that would do.
    """
    if fits(piece, bed_shape, travel_mm):
        return
    hint = f"{bed_for(piece, bed_shape, travel_mm)} would do."
    raise InputError("the piece does not fit this bed with its margin", hint=hint, where="bed")


def bed_for(piece: OnBed, bed_shape: str, travel_mm: Sequence[float]) -> str:
    """In words: the bed and the height that a piece needs, as far as they are not given."""
    tall = math.ceil(piece.tallest_mm + MARGIN_MM)
    high = f"a Z travel of {tall} mm" if tall > travel_mm[2] else ""
    if bed_shape == "round":
        wide = math.ceil(2 * (smallest_circle(piece.outline_mm())[2] + MARGIN_MM))
        bed = f"a round bed of {wide} mm" if wide > travel_mm[0] else ""
    else:
        x, y = (math.ceil(side + 2 * MARGIN_MM) for side in _extent(piece.outline_mm()))
        bed = f"a bed of {x} by {y} mm" if x > travel_mm[0] or y > travel_mm[1] else ""
    words = " and ".join(filter(None, (bed, high)))
    return words[:1].upper() + words[1:]


def centre_mm(piece: OnBed, bed_shape: str) -> tuple[float, float]:
    """X and Y, in the piece's own frame, of the point that goes to the middle of the bed."""
    outline = piece.outline_mm()
    if bed_shape == "round":
        x, y, _ = smallest_circle(outline)
        return x, y
    xs, ys = zip(*outline, strict=True)
    return (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2


def smallest_circle(points: Sequence[tuple[float, float]]) -> tuple[float, float, float]:
    """Centre and radius of the smallest circle round points.

    Point by point: whoever lies outside the circle so far lies on the next one (Welzl 1991).
    """
    circle = (*points[0], 0.0)
    for n, p in enumerate(points):
        if _inside(circle, p):
            continue
        circle = (*p, 0.0)
        for m, q in enumerate(points[:n]):
            if _inside(circle, q):
                continue
            circle = _on_two(p, q)
            for r in points[:m]:
                if not _inside(circle, r):
                    circle = _on_three(p, q, r)
    return circle


def _inside(circle: tuple[float, float, float], point: tuple[float, float]) -> bool:
    return math.hypot(point[0] - circle[0], point[1] - circle[1]) <= circle[2] + 1e-9


def _on_two(p: tuple[float, float], q: tuple[float, float]) -> tuple[float, float, float]:
    return (p[0] + q[0]) / 2, (p[1] + q[1]) / 2, math.dist(p, q) / 2


def _on_three(
    p: tuple[float, float], q: tuple[float, float], r: tuple[float, float]
) -> tuple[float, float, float]:
    """The circle through three places; through the outer two where they lie in a line."""
    bx, by, cx, cy = q[0] - p[0], q[1] - p[1], r[0] - p[0], r[1] - p[1]
    double = 2 * (bx * cy - by * cx)
    if abs(double) < 1e-12:
        return max((_on_two(p, q), _on_two(p, r), _on_two(q, r)), key=lambda c: c[2])
    b, c = bx * bx + by * by, cx * cx + cy * cy
    x, y = (cy * b - by * c) / double, (bx * c - cx * b) / double
    return p[0] + x, p[1] + y, math.hypot(x, y)


def _heights(travel_z_mm: float, reach_mm: float, layer_mm: float) -> tuple[float, ...]:
    """Lands of the column under this Z and this reach, whole layers; () where none is useful."""
    tallest = min(_TALLEST_MM, travel_z_mm - MARGIN_MM, reach_mm - REACH_SPARE_MM)
    if tallest < 25:
        return ()
    layers = math.floor(tallest / layer_mm / 5 + 1e-9) * 5
    return tuple(round(round(part * layers) * layer_mm, 6) for part in _PARTS)


def _extent(points: Sequence[tuple[float, float]]) -> tuple[float, float]:
    xs, ys = zip(*points, strict=True)
    return max(xs) - min(xs), max(ys) - min(ys)


def _too_small(smallest: SpanPiece, bed_shape: str, travel_mm: Sequence[float]) -> InputError:
    hint = f"{bed_for(smallest, bed_shape, travel_mm)} would do."
    bare = replace(smallest, column_heights_mm=())
    if smallest.column_heights_mm and fits(bare, bed_shape, travel_mm):
        hint += " Without the column it fits."
    return InputError("the smallest piece does not fit this bed", hint=hint, where="bed")
