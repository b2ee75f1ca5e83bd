"""The fit piece as it came out: what goes through its bores and over its pins, from their beads.

Not for what a hand feels: that is the person's. Stands on `shape` and the parameters of the piece.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from asleft.pieces import FitPiece
from asleft.practice.body.track import Array
from asleft.practice.errors import CannotError
from asleft.practice.printed.deposit import Beads
from asleft.practice.printed.shape import LEAST_LAYERS, Lying

SECTORS = 36
_SECTOR = 2 * math.pi / SECTORS
BEYOND_MM = 1.5
"""So far from its drawn wall a wall is still taken for it (ours)."""


@dataclass(frozen=True)
class PrintedFit:
    """One printed fit piece."""

    drawn: FitPiece
    lying: Lying

    def size_mm(self, kind: str, drawn_mm: float) -> float:
        """Of a bore the largest true cylinder that goes in, of a pin the smallest ring, mm.

        Raises:
            CannotError: the piece has no such body, or its wall was not laid.
        """
        drawn = self.drawn
        if kind not in ("bore", "pin"):
            raise CannotError(f"{kind!r} is no body: bore or pin")
        sizes = drawn.bores if kind == "bore" else drawn.pins
        number = next((n for n, size in enumerate(sizes) if abs(size - drawn_mm) < 5e-4), None)
        if number is None:
            raise CannotError(f"no {kind} of the piece is drawn {drawn_mm:g} mm")
        body = number + (0 if kind == "bore" else len(drawn.bores))
        sign = -1.0 if kind == "bore" else 1.0
        places = self._wall(drawn.centres_mm()[body], drawn_mm, sign)
        round_mm = _round_size(places, largest=kind == "pin")
        scatter = self.lying.chance(f"{kind} {body}").normal(0, self.lying.truth.face_scatter_mm)
        return round_mm + sign * self.lying.grown_mm() + float(scatter)

    def _wall(self, centre: tuple[float, float], drawn_mm: float, sign: float) -> Array:
        """Places (n, 2) on the round part of the wall, one a sector, mean over its layers."""
        low, high = self._heights_mm(sign)
        z = self.lying.beads.to_mm[:, 2]
        beads = self.lying.beads.only((z > low + 1e-6) & (z <= high + 1e-6))
        middle = (beads.from_mm + beads.to_mm)[:, :2] / 2 - self.lying.origin_mm - centre
        away = np.hypot(*middle.T)
        angle = np.arctan2(middle[:, 1], middle[:, 0])
        sector = ((angle + math.pi) / _SECTOR).astype(int) % SECTORS
        near = (away < drawn_mm / 2 + BEYOND_MM) & self._is_round(sector, drawn_mm, sign)
        beads, away, angle, sector = beads.only(near), away[near], angle[near], sector[near]
        first = _first_of_each(beads.level * SECTORS + sector, sign * away + beads.width_mm / 2)
        layers = len(np.unique(beads.level[first]))
        if layers < max(1.0, LEAST_LAYERS * (high - low) / self.drawn.layer_mm):
            raise CannotError("there is no such wall on the piece: it was not laid")
        return _means(_edges(beads.only(first), angle[first], sign), sector[first])

    def _heights_mm(self, sign: float) -> tuple[float, float]:
        """Bores above their foot, pins above their head."""
        if sign < 0:
            return self.drawn.foot_height_mm, self.drawn.height_mm
        return self.drawn.head_mm, self.drawn.head_mm + self.drawn.height_mm

    def _is_round(self, sector: np.ndarray, drawn_mm: float, sign: float) -> np.ndarray:
        """Not the sectors where the notch of a bore or the flat of a pin lies, in front."""
        radius, relief = drawn_mm / 2, self.drawn.relief_mm
        if sign < 0:
            wide = 2 * math.asin(min(1.0, (relief + self.drawn.line_width_mm) / drawn_mm))
        else:
            wide = math.acos(max(0.0, 1 - relief / radius))
        angle = (sector + 0.5) * _SECTOR - math.pi
        ahead = np.abs(np.angle(np.exp(1j * (angle + math.pi / 2))))
        clear: np.ndarray = ahead > wide + _SECTOR
        return clear


def _edges(beads: Beads, angle: Array, sign: float) -> Array:
    """Where beads end towards the shaft or the bearing, (n, 2)."""
    out = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    at = (beads.start_mm + beads.end_mm)[:, :2] / 2
    edges: Array = at + sign * beads.width_mm[:, None] / 2 * out
    return edges


def _first_of_each(group: np.ndarray, reach: Array) -> np.ndarray:
    """Rows that reach furthest, one a group."""
    order = np.lexsort((-reach, group))
    return order[np.unique(group[order], return_index=True)[1]]


def _means(places: Array, sector: np.ndarray) -> Array:
    """Mean place of each sector that has any."""
    found, which = np.unique(sector, return_inverse=True)
    sums = np.zeros((len(found), 2))
    np.add.at(sums, which, places)
    means: Array = sums / np.bincount(which)[:, None]
    return means


def _round_size(places: Array, *, largest: bool) -> float:
    """Diameter about the best-fitting centre (Kåsa's least squares), by the worst place."""
    if len(places) < SECTORS / 3:
        raise CannotError("there is no such wall on the piece: it was not laid")
    origin = places.mean(axis=0)
    x, y = (places - origin).T
    table = np.stack([x, y, np.ones_like(x)], axis=1)
    a, b, _ = np.linalg.lstsq(table, x**2 + y**2, rcond=None)[0]
    away = np.hypot(x - a / 2, y - b / 2)
    return 2 * float(away.max() if largest else away.min())
