"""Straight beads across an area: closed or sparse, at angles that favour no measured direction.

Lines are cut by scanning; neighbours are strung into runs laid to and fro. Not for walls.
Stands on `stroke` and numpy.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from asleft.pieces.path.stroke import Points

# X, Y and both diagonals are measured: each of these is 22.5° off its nearest two.
ANGLES_DEG = (22.5, 112.5, 67.5, 157.5)
_STRETCH = 1.1  # by how much lines may lie further apart than wanted
Line = tuple[float, float, float]  # y, from x, to x


def runs(
    polygons: Sequence[Points], angle_deg: float, apart_mm: float
) -> tuple[list[Points], float]:
    """Lines across an area, strung to and fro.

    Args:
        polygons: outlines and holes, each (n, 2), mm.
        angle_deg: of the lines to X.
        apart_mm: wanted distance of neighbours.

    Returns:
        Runs, each (2 n, 2): line after line, ends in turn; and the distance that divides the
        area into a whole number of lines.
    """
    turned = [polygon @ _turn(-angle_deg) for polygon in polygons]
    low = min(float(p[:, 1].min()) for p in turned)
    high = max(float(p[:, 1].max()) for p in turned)
    count = max(1, round((high - low) / apart_mm))
    if high - low > _STRETCH * count * apart_mm:
        count += 1
    step = (high - low) / count
    chains: list[list[Line]] = []
    growing: list[list[Line]] = []
    levels = low + (np.arange(count) + 0.5) * step
    for y, spans in zip(levels.tolist(), _spans(turned, levels), strict=True):
        growing = _strung(growing, [(y, a, b) for a, b in spans if b - a > 1e-3])
        chains += [chain for chain in growing if len(chain) == 1]
    back = _turn(angle_deg)
    return [_to_and_fro(chain) @ back for chain in chains], step


def spans_on(polygons: Sequence[Points], start: Points, end: Points) -> list[tuple[Points, Points]]:
    """The parts of a straight line from start to end that lie within an area."""
    along = (end - start) / np.hypot(*(end - start))
    across = np.array([-along[1], along[0]])
    frame = np.stack([along, across], axis=1)
    turned = [(polygon - start) @ frame for polygon in polygons]
    length = float((end - start) @ along)
    found = []
    for a, b in _spans(turned, np.zeros(1))[0]:
        low, high = max(a, 0.0), min(b, length)
        if high - low > 1e-3:
            found.append((start + low * along, start + high * along))
    return found


def _turn(angle_deg: float) -> Points:
    """Matrix that turns rows counter-clockwise when multiplied from the right."""
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return np.array([[c, s], [-s, c]])


def _spans(polygons: Sequence[Points], levels: npt.ArrayLike) -> list[list[tuple[float, float]]]:
    """Where each of the level lines is inside: crossings in pairs (even-odd)."""
    at = np.asarray(levels, dtype=float)
    lines, places = [], []
    for polygon in polygons:
        (x0, y0), (x1, y1) = polygon.T, np.roll(polygon, -1, axis=0).T
        line, edge = np.nonzero((y0 > at[:, None]) != (y1 > at[:, None]))
        share = (at[line] - y0[edge]) / (y1[edge] - y0[edge])
        lines.append(line)
        places.append(x0[edge] + share * (x1[edge] - x0[edge]))
    line, x = np.concatenate(lines), np.concatenate(places)
    order = np.lexsort((x, line))
    each = np.split(x[order], np.searchsorted(line[order], np.arange(1, len(at))))
    return [list(zip(row[::2], row[1::2], strict=False)) for row in (r.tolist() for r in each)]


def _strung(growing: list[list[Line]], lines: list[Line]) -> list[list[Line]]:
    """Each line added to the one run whose last line it alone overlaps, or begun anew."""
    result = []
    for line in lines:
        over = [chain for chain in growing if _overlap(chain[-1], line)]
        alone = over and sum(_overlap(over[0][-1], other) for other in lines) == 1
        if len(over) == 1 and alone:
            over[0].append(line)
            result.append(over[0])
        else:
            result.append([line])
    return result


def _overlap(a: Line, b: Line) -> bool:
    return a[1] < b[2] and b[1] < a[2] and a[0] != b[0]


def _to_and_fro(chain: list[Line]) -> Points:
    points = []
    for n, (y, a, b) in enumerate(chain):
        points += [(a, y), (b, y)] if n % 2 == 0 else [(b, y), (a, y)]
    return np.array(points)
