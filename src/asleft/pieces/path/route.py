"""Travel from place to place round outlines that may not be crossed.

Outlines are convex and few, so the way round one is a part of the hull of the outline and the
two ends. Not for laying beads. Stands on nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

Point = tuple[float, float]

_DEEP_MM = 1e-6  # touching an outline is no crossing
_DEPTH = 12  # outlines stand apart: more detours in one travel than this never arise


@dataclass(frozen=True)
class KeepOut:
    """A convex outline that no travel may cross, counter-clockwise."""

    corners_mm: tuple[Point, ...]
    bounds_mm: tuple[float, float, float, float] = field(init=False)

    def __post_init__(self) -> None:
        """Bounds tell most lines at once that they pass by."""
        xs, ys = zip(*self.corners_mm, strict=True)
        object.__setattr__(self, "bounds_mm", (min(xs), min(ys), max(xs), max(ys)))


def route(start: Point, end: Point, keep_outs: Sequence[KeepOut]) -> list[Point]:
    """Corners of a way from start to end, both included, that enters no outline.

    Ends that lie inside an outline are taken to leave it straight: doors are the caller's care.
    """
    return _way(start, end, keep_outs, _DEPTH)


def _way(start: Point, end: Point, keep_outs: Sequence[KeepOut], depth: int) -> list[Point]:
    crossed = [outline for outline in keep_outs if crosses(start, end, outline)]
    if not crossed or depth == 0:
        return [start, end]
    first = min(crossed, key=lambda o: min(math.dist(start, c) for c in o.corners_mm))
    found = [start]
    for a, b in pairwise(_round(start, end, first.corners_mm)):
        found += _way(a, b, keep_outs, depth - 1)[1:]
    return found


def crosses(start: Point, end: Point, keep_out: KeepOut) -> bool:
    """Whether the straight line between two places passes through a convex outline."""
    (x0, y0), (x1, y1) = start, end
    left, front, right, back = keep_out.bounds_mm
    if max(x0, x1) <= left or min(x0, x1) >= right or max(y0, y1) <= front or min(y0, y1) >= back:
        return False
    outline = keep_out.corners_mm
    low, high = 0.0, 1.0
    dx, dy = x1 - x0, y1 - y0
    for (ax, ay), (bx, by) in zip(outline, (*outline[1:], outline[0]), strict=True):
        length = math.hypot(bx - ax, by - ay)
        # Distance inwards of this side (outlines run counter-clockwise), along the line.
        at = ((bx - ax) * (start[1] - ay) - (by - ay) * (start[0] - ax)) / length - _DEEP_MM
        slope = ((bx - ax) * dy - (by - ay) * dx) / length
        if abs(slope) < 1e-12:
            if at <= 0:
                return False
            continue
        zero = -at / slope
        low, high = (max(low, zero), high) if slope > 0 else (low, min(high, zero))
        if low >= high:
            return False
    return True


def holds(keep_out: KeepOut, at: Point) -> bool:
    """Whether a place lies inside an outline."""
    corners = keep_out.corners_mm
    sides = zip(corners, (*corners[1:], corners[0]), strict=True)
    return all(_turn(a, b, at) > 0 for a, b in sides)


def _round(start: Point, end: Point, outline: Sequence[Point]) -> list[Point]:
    """The shorter side of the hull of the outline and both ends."""
    hull = _hull([start, end, *outline])
    for end_of_way, back in ((start, False), (end, True)):
        if end_of_way not in hull:  # a little inside: out by the nearest corner first
            corner = min(outline, key=lambda c: math.dist(c, end_of_way))
            way = _round(start, corner, outline) if back else _round(corner, end, outline)
            return [*way, end] if back else [start, *way]
    a, b = hull.index(start), hull.index(end)
    one = hull[a : b + 1] if a < b else hull[a:] + hull[: b + 1]
    other = hull[b : a + 1] if b < a else hull[b:] + hull[: a + 1]
    return min(one, other[::-1], key=lambda way: sum(math.dist(p, q) for p, q in pairwise(way)))


def _hull(points: Iterable[Point]) -> list[Point]:
    """Convex hull, counter-clockwise (monotone chain; any textbook on geometry)."""
    ordered = sorted(set(points))

    def half(run: Sequence[Point]) -> list[Point]:
        chain: list[Point] = []
        for p in run:
            while len(chain) > 1 and _turn(chain[-2], chain[-1], p) <= 0:
                chain.pop()
            chain.append(p)
        return chain[:-1]

    return half(ordered) + half(ordered[::-1])


def _turn(a: Point, b: Point, c: Point) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
