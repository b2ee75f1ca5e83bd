"""From a piece to its tool path: layers planned once where they are equal, timed, and written.

The door of this sub-package: `tool_path`. Holds the order of the whole, no geometry. Stands on
all other files here.
"""

from __future__ import annotations

import math
from collections.abc import Hashable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from asleft.pieces.bead import BeadPiece
from asleft.pieces.cost import DENSITY_G_CM3
from asleft.pieces.fit import centre_mm, demand_on_bed
from asleft.pieces.fitting import FitPiece
from asleft.pieces.parameters import demand_layers, demand_line
from asleft.pieces.path.codes import Codes, Run
from asleft.pieces.path.guide import fit_ground, span_ground
from asleft.pieces.path.laying import Bead, Layerer, angle_deg
from asleft.pieces.path.legs import legs_of, slowed
from asleft.pieces.path.pace import laying_seconds, seconds
from asleft.pieces.path.priming import primed
from asleft.pieces.path.route import KeepOut, Point
from asleft.pieces.path.sections import Sections
from asleft.pieces.path.settings import PathSettings
from asleft.pieces.path.stroke import Island, Layer, Stroke, Visit
from asleft.pieces.solid import Piece, solids
from asleft.pieces.span import SpanPiece

if TYPE_CHECKING:
    from manifold3d import CrossSection

_INSIDE_SHARE = {"SpanPiece": 0.15, "FitPiece": 0.25}
_RAISE_S = 0.3  # a layer's lift; a guess, ours


@dataclass(frozen=True)
class ToolPath:
    """The file and what it takes. Heating and homing are not in `minutes`."""

    text: str
    grams: float
    minutes: float
    filament_mm: float
    layers: int
    peak_mm3_s: float
    bounds_mm: tuple[tuple[float, float, float], tuple[float, float, float]]
    basis: str = "computed from the tool path with accelerations; heating and homing not counted"


def tool_path(piece: Piece, settings: PathSettings) -> ToolPath:
    """Plan a piece and write it as plain codes.

    Raises:
        InputError: the piece does not fit the bed, or its bead the nozzle.
    """
    _check(piece, settings)
    middle, own = settings.middle_mm, centre_mm(piece, settings.bed_shape)
    shift = (middle[0] - own[0], middle[1] - own[1])
    codes = Codes(settings)
    _head(codes, piece)
    codes.begin()
    codes.raise_to(piece.layer_mm)
    prime = primed(settings, piece.line_width_mm, piece.layer_mm)
    codes.put(Run(prime, middle, (0.0, 0.0), settings))
    x, y = (prime[-1].points_mm[-1] - shift).tolist()
    at = (x, y)
    body = _Body(piece, settings, shift)
    total_s, peak = seconds(prime, middle, settings), 0.0
    for number, layer in enumerate(body.layers()):
        timed = body.timed(layer, at, first=number == 0)
        codes.layer(number, layer.z_mm)
        codes.put(timed.run)
        total_s += timed.seconds + _RAISE_S
        peak = max(peak, timed.peak_mm3_s)
        at = timed.end
    codes.end()
    low, high = body.bounds()
    grams = codes.filament_mm * settings.filament_mm2 / 1000 * DENSITY_G_CM3
    return ToolPath(
        codes.text(), grams, total_s / 60, codes.filament_mm, number + 1, peak, (low, high)
    )


@dataclass(frozen=True)
class _Timed:
    """One layer's codes, where they end in the piece's frame, and what they take."""

    run: Run
    end: Point
    seconds: float
    peak_mm3_s: float


class _Body:
    """The layers of one piece, those that are equal planned and timed once."""

    def __init__(self, piece: Piece, settings: PathSettings, shift: Point) -> None:
        self.piece, self.settings, self.shift = piece, settings, shift
        self._timed: dict[Hashable, _Timed] = {}
        self._laid: dict[Hashable, tuple[Visit, ...]] = {}
        self._walls: dict[Hashable, tuple[list[Stroke], CrossSection]] = {}
        self._low = np.full(2, np.inf)
        self._high = -self._low

    def layers(self) -> list[Layer]:
        """All layers from the bed upwards."""
        if isinstance(self.piece, BeadPiece):
            return _bead_layers(self.piece)
        return self._sliced(self.piece)

    def _sliced(self, piece: SpanPiece | FitPiece) -> list[Layer]:
        from manifold3d import Manifold, OpType

        whole = Manifold.batch_boolean(list(solids(piece).values()), OpType.Add)
        sections = Sections.of(whole, piece.layer_mm)
        bead = Bead(piece.line_width_mm, piece.layer_mm, _INSIDE_SHARE[type(piece).__name__])
        found = []
        for n, section in enumerate(sections.numbers):
            z_mm = (n + 0.5) * piece.layer_mm
            if isinstance(piece, FitPiece):
                ground = fit_ground(piece, z_mm)
            else:
                ground = span_ground(piece, z_mm)
            around, angle = sections.around(n), angle_deg(n)
            key = (section, around, ground, angle)
            if key not in self._laid:
                layerer = Layerer(bead, ground, sections.inner(around), angle, self._walls)
                self._laid[key] = layerer.lay(sections.areas[section])
            found.append(Layer(round((n + 1) * piece.layer_mm, 6), self._laid[key]))
        return found

    def timed(self, layer: Layer, start: Point, *, first: bool) -> _Timed:
        """A layer from a place on; small layers slowed until firm."""
        key = (id(layer.visits), start, first)
        if key not in self._timed:
            legs, end = legs_of(layer, start, self.settings, self.piece.layer_mm, first=first)
            took, laying = seconds(legs, start, self.settings), laying_seconds(legs, start)
            missing = self.settings.least_layer_s - took
            if missing > 0 and laying > 0:
                factor = (laying + missing) / laying
                legs = slowed(legs, factor, self.settings.slowest_mm_min / 60)
                took = seconds(legs, start, self.settings)
            peak = max(leg.section_mm2 * leg.speed_mm_s for leg in legs)
            run = Run(legs, start, self.shift, self.settings)
            self._timed[key] = _Timed(run, end, took, peak)
            laid = np.vstack([leg.points_mm for leg in legs if leg.section_mm2])
            self._low = np.minimum(self._low, laid.min(axis=0))
            self._high = np.maximum(self._high, laid.max(axis=0))
        return self._timed[key]

    def bounds(self) -> tuple[tuple[float, float, float], tuple[float, float, float]]:
        """Lowest and highest place of the nozzle while it lays the piece, in the machine."""
        low, high = (np.round(end + self.shift, 3).tolist() for end in (self._low, self._high))
        return (low[0], low[1], 0.0), (high[0], high[1], self.piece.tallest_mm)


def _bead_layers(piece: BeadPiece) -> list[Layer]:
    """One closed bead a layer, begun and ended at the same corner."""
    corners = piece.octagon_mm(piece.flats_mm)
    ring = np.array([*corners, corners[0]])
    seam = corners[0]
    # The first layer is come upon from outside, straight at its corner; then the nozzle stays.
    ahead = 1 + 4 / math.hypot(*seam)
    door = (seam[0] * ahead, seam[1] * ahead)
    outer = KeepOut(tuple(piece.octagon_mm(piece.flats_mm + 2)))
    rest = Island((0.0, 0.0), seam)
    first = Island((0.0, 0.0), seam, outer, (door, seam))
    strokes = {w: (Stroke(ring, w, "measured"),) for w in piece.widths_mm}
    visits = {w: (Visit(stroke, rest),) for w, stroke in strokes.items()}
    count = round(piece.tallest_mm / piece.layer_mm)
    layers = [
        Layer(
            round((n + 1) * piece.layer_mm, 6),
            visits[piece.width_at_mm((n + 0.5) * piece.layer_mm)],
        )
        for n in range(count)
    ]
    layers[0] = Layer(layers[0].z_mm, (Visit(strokes[piece.widths_mm[0]], first),))
    return layers


def _check(piece: Piece, settings: PathSettings) -> None:
    widths = piece.widths_mm if isinstance(piece, BeadPiece) else (piece.line_width_mm,)
    for width in widths:
        demand_line(width, settings.nozzle_mm)
    demand_layers(piece.whole_mm, piece.layer_mm, min(widths), settings.nozzle_mm)
    demand_on_bed(piece, settings.bed_shape, settings.travel_mm)


def _head(codes: Codes, piece: Piece) -> None:
    s = codes.settings
    name = {"SpanPiece": "span", "BeadPiece": "bead", "FitPiece": "fit"}[type(piece).__name__]
    codes.note(f"{name} piece; all lengths in mm")
    codes.note(
        f"nozzle {s.nozzle_mm:g} at {s.nozzle_c:g} C, bed at {s.bed_c:g} C, "
        f"filament {s.filament_mm:g}, layers of {piece.layer_mm:g}"
    )
    codes.note("Caution: hot parts and moving axes. Clear the bed; stay beside a heated machine.")
