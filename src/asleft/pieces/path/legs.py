"""From strokes to legs: every straight run of one layer in order, travel between them included.

Decides speeds, and where the filament is drawn back. Knows no codes. Stands on `stroke`, `route`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from asleft.pieces.path.route import Point, holds, route
from asleft.pieces.path.settings import PathSettings
from asleft.pieces.path.stroke import Island, Layer, Points, Stroke, Visit, bead_mm2

_NEAR_MM = 3.0  # a travel within one body, no longer than this, needs no drawing back


@dataclass(frozen=True)
class Leg:
    """A polyline (n, 2) from where the last leg ended, at one speed.

    `section_mm2` is that of the bead laid, 0 in travel; `drawn_back`: the filament is drawn
    back for this travel, and pushed forward when laying goes on.
    """

    points_mm: Points
    speed_mm_s: float
    section_mm2: float = 0.0
    drawn_back: bool = False


def legs_of(
    layer: Layer, start: Point, settings: PathSettings, layer_mm: float, *, first: bool
) -> tuple[list[Leg], Point]:
    """All legs of a layer from a place outside every body, and the place where it ends.

    Args:
        layer: its visits. start: X and Y in the piece's frame.
        settings: speeds and bounds. layer_mm: its height. first: whether it lies on the bed.
    """
    legs: list[Leg] = []
    at = _outside(start, layer, settings, legs)
    for visit in layer.visits:
        at = _visit(visit, layer, at, settings, layer_mm, first=first, legs=legs)
    return legs, at


def _outside(at: Point, layer: Layer, settings: PathSettings, legs: list[Leg]) -> Point:
    """Out of a body that only this layer makes a measured one, through its door."""
    for visit in layer.visits:
        island = visit.island
        if island is None or island.doors_mm is None or island.keep_out is None:
            continue
        if holds(island.keep_out, at):
            door = min(island.doors_mm, key=lambda door: math.dist(door, at))
            _travel([at, door], settings.travel_mm_min / 60, legs, near=False)
            return door
    return at


def slowed(legs: Sequence[Leg], factor: float, slowest_mm_s: float) -> list[Leg]:
    """The legs with laying slowed by a factor, none below the slowest that it may be."""
    return [
        replace(leg, speed_mm_s=max(leg.speed_mm_s / factor, min(slowest_mm_s, leg.speed_mm_s)))
        if leg.section_mm2
        else leg
        for leg in legs
    ]


def _visit(
    visit: Visit,
    layer: Layer,
    at: Point,
    settings: PathSettings,
    layer_mm: float,
    *,
    first: bool,
    legs: list[Leg],
) -> Point:
    """Enter, lay every stroke, leave."""
    island = visit.island
    speed = settings.travel_mm_min / 60
    arrive = [at]
    if island is not None and island.doors_mm is not None:
        arrive = route(at, island.doors_mm[0], layer.keep_outs)
        arrive.append(_start(visit.strokes[0]))
    else:
        arrive = route(at, _start(visit.strokes[0]), layer.keep_outs)
    _travel(arrive, speed, legs, near=False)
    for before, stroke in zip([None, *visit.strokes], visit.strokes, strict=False):
        if before is not None:
            _travel(_within(before, stroke, island, layer), speed, legs, near=True)
        legs.append(_laid(stroke, settings, layer_mm, first=first))
    end = _end(visit.strokes[-1])
    if island is None or island.doors_mm is None:
        return end
    _travel([end, island.doors_mm[1]], speed, legs, near=False)
    return island.doors_mm[1]


def _within(before: Stroke, after: Stroke, island: Island | None, layer: Layer) -> list[Point]:
    """The way from stroke to stroke: straight inside a body with doors, else round holes."""
    start, end = _end(before), _start(after)
    if island is None:
        return route(start, end, layer.keep_outs)
    # Bodies stand apart: within one, no other's outline is met.
    own = () if island.keep_out is None or island.doors_mm is not None else (island.keep_out,)
    return route(start, end, own)


def _travel(way: Sequence[Point], speed_mm_s: float, legs: list[Leg], *, near: bool) -> None:
    length = sum(math.dist(a, b) for a, b in pairwise(way))
    if length < 1e-6:
        return
    short = near and length <= _NEAR_MM
    legs.append(Leg(np.array(way[1:]), speed_mm_s, 0.0, not short))


def _laid(stroke: Stroke, settings: PathSettings, layer_mm: float, *, first: bool) -> Leg:
    section = bead_mm2(stroke.width_mm, layer_mm)
    speeds = {
        "measured": settings.measured_mm_min,
        "wall": settings.wall_mm_min,
        "fill": settings.fill_mm_min,
    }
    speed = speeds[stroke.kind] / 60
    if first:
        speed = min(speed, settings.first_layer_mm_min / 60)
    return Leg(stroke.points_mm[1:], min(speed, settings.most_mm3_s / section), section)


def _start(stroke: Stroke) -> Point:
    return float(stroke.points_mm[0, 0]), float(stroke.points_mm[0, 1])


def _end(stroke: Stroke) -> Point:
    return float(stroke.points_mm[-1, 0]), float(stroke.points_mm[-1, 1])
