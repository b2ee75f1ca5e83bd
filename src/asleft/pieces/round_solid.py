"""The solids of the bead piece and the fit piece.

Not the files and not the drawings. Bores have their drawn size at the middles of their many
flats, pins at their corners: where the other part touches. Stands on `bead`, `fitting`, `marks`.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from asleft.pieces.bead import BeadPiece
from asleft.pieces.fitting import TAB_EDGE_MM, FitPiece
from asleft.pieces.lettering import ADVANCE_MM
from asleft.pieces.marks import MARK_MM, PLATE_MM, Leg, legs, letters, stroke_mm

if TYPE_CHECKING:
    from manifold3d import CrossSection, Manifold

_PLAIN_MM = 0.001  # edges that mean nothing would make needles of triangles
_SAGITTA_MM = 0.01  # how far a many-sided bore departs from a circle
# Sides of a polygon about a circle, and in one, whose area is true to 0.04 %: π²/3n², 2π²/3n².
_SIDES, _SIDES_IN = 92, 128
_SIDES_NOTCH = 64  # of which little counts


def bead_solid(piece: BeadPiece) -> Manifold:
    """A ring in bands."""
    from manifold3d import CrossSection, Manifold, OpType

    bands = []
    for rank, width in enumerate(piece.widths_mm):
        outer = CrossSection([piece.octagon_mm(piece.flats_mm + width)])
        inner = CrossSection([piece.octagon_mm(piece.flats_mm - width)])
        # Each band stands through those below it, which are wider: no seam between bodies.
        bands.append((outer - inner).extrude((rank + 1) * piece.band_mm))
    return Manifold.batch_boolean(bands, OpType.Add)


def fit_solids(piece: FitPiece) -> list[Manifold]:
    """Every collar and pin, at its place, in the order of the numbers."""
    centres = piece.centres_mm()
    made = [_collar(piece, size, number) for number, size in enumerate(piece.bores, start=1)]
    first_pin = len(made) + 1
    made += [_pin(piece, size, number) for number, size in enumerate(piece.pins, start=first_pin)]
    return [body.translate((x, y, 0)) for body, (x, y) in zip(made, centres, strict=True)]


def corners(diameter_mm: float, *, least: int = _SIDES) -> int:
    """Of a polygon that stands for a circle: a whole number of quarters."""
    half = math.acos(max(0.0, 1 - 2 * _SAGITTA_MM / diameter_mm))
    return 4 * math.ceil(max(math.pi / half, least) / 4)


def _outside(piece: FitPiece, diameter_mm: float) -> CrossSection:
    """A collar's outline: the bore and, in front, the notch where its seam lies, drawn wider."""
    from manifold3d import CrossSection

    sides = corners(diameter_mm)
    radius = (diameter_mm / 2 + piece.collar_mm) / math.cos(math.pi / sides)
    bulge = CrossSection.circle(piece.relief_mm + piece.collar_mm, _SIDES_IN)
    bulge = bulge.translate((0, -diameter_mm / 2))
    return (CrossSection.circle(radius, sides) + bulge).simplify(_PLAIN_MM)


def pin(piece: FitPiece, diameter_mm: float) -> CrossSection:
    """A pin with the flat in front where the seam lies, at the origin."""
    from manifold3d import CrossSection

    disc = CrossSection.circle(diameter_mm / 2, corners(diameter_mm, least=_SIDES_IN))
    keep = CrossSection.square((2 * diameter_mm, 2 * diameter_mm)).translate(
        (-diameter_mm, -diameter_mm / 2 + piece.relief_mm)
    )
    return disc ^ keep


def tab_legs(piece: FitPiece, diameter_mm: float, number: int) -> list[Leg]:
    """The strokes of a body's number, behind it."""
    text = str(number)
    stroke = stroke_mm(piece.line_width_mm, piece.layer_mm)
    # A glyph is as wide as its advance less the gap to the next.
    wide = ADVANCE_MM * len(text) - 1.3
    return legs(text, -wide / 2, _tab_front(piece, diameter_mm) + TAB_EDGE_MM + stroke / 2 - 0.3)


def _tab_front(piece: FitPiece, diameter_mm: float) -> float:
    return diameter_mm / 2 + piece.collar_mm


def _tab(piece: FitPiece, diameter_mm: float, number: int) -> Manifold:
    """Plate and number behind a body; the plate runs in under the collar's middle."""
    from manifold3d import CrossSection

    wide, deep = piece.tab_mm
    back = _tab_front(piece, diameter_mm) + deep
    inside = diameter_mm / 2 + piece.collar_mm / 2
    wide = min(wide, 2 * piece.tile_mm[0])
    plate = CrossSection.square((wide, back)).translate((-wide / 2, 0))
    free = CrossSection.circle(inside, 64)
    raised = letters(
        tab_legs(piece, diameter_mm, number), stroke_mm(piece.line_width_mm, piece.layer_mm)
    )
    result: Manifold = (plate - free).extrude(PLATE_MM) + raised.extrude(PLATE_MM + MARK_MM)
    return result


def _collar(piece: FitPiece, diameter_mm: float, number: int) -> Manifold:
    ring = _outside(piece, diameter_mm).extrude(piece.height_mm)
    body: Manifold = ring + _tab(piece, diameter_mm, number)
    sides = corners(diameter_mm)
    notch = _room(piece, piece.relief_mm, _SIDES_NOTCH, 1.0).translate((0, -diameter_mm / 2, 0))
    return body - _room(piece, diameter_mm / 2, sides, 1 / math.cos(math.pi / sides)) - notch


def _room(piece: FitPiece, radius_mm: float, sides: int, stretch: float) -> Manifold:
    """What is cut out of a collar: straight up, and wider at the bed.

    Set back a little less with every layer, so that first-layer spread meets no shaft; the collar
    stays evenly thick, so that whole beads fill it. `stretch` is from a flat to a corner.
    """
    from manifold3d import CrossSection

    low, profile = -1.0, [(0.0, -1.0)]
    for n in range(round(piece.foot_height_mm / piece.layer_mm)):
        wide = stretch * (radius_mm + piece.set_back_mm((n + 0.5) * piece.layer_mm))
        high = (n + 1) * piece.layer_mm
        profile += [(wide, low), (wide, high)]
        low = high
    top = piece.height_mm + 1
    profile += [(stretch * radius_mm, low), (stretch * radius_mm, top), (0.0, top)]
    result: Manifold = CrossSection([profile]).revolve(sides)
    return result


def _pin(piece: FitPiece, diameter_mm: float, number: int) -> Manifold:
    from manifold3d import CrossSection

    head = CrossSection.circle(
        diameter_mm / 2 + piece.collar_mm, corners(diameter_mm, least=_SIDES_IN)
    )
    body: Manifold = pin(piece, diameter_mm).extrude(piece.head_mm + piece.height_mm)
    body += head.extrude(piece.head_mm)
    result: Manifold = body + _tab(piece, diameter_mm, number)
    return result
