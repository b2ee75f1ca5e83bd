"""The bead that a nozzle lays a piece with: usual line width, layer and walls, as far as not given.

So that the files of a piece and the trial that reads it speak of the same piece. Not the pieces
themselves. Stands on them and on `parameters`.
"""

from __future__ import annotations

from typing import Any, Literal

from asleft.pieces.bead import BeadPiece
from asleft.pieces.fitting import FitPiece
from asleft.pieces.parameters import (
    demand,
    demand_above_zero,
    demand_layers,
    demand_line,
    usual_layer_mm,
)
from asleft.pieces.rib import rib_mm
from asleft.pieces.span import SpanPiece

LINE_PER_NOZZLE = 1.125  # a bead a little wider than the bore (common practice, no source)
SMALLEST_MM, LARGEST_MM = 0.2, 1.0  # nozzles whose paths were seen to meet every bar
COLLAR_MM = 1.6  # so thick a collar holds its shape (ours)

# Drawn heights that must be whole layers; lands of the column are chosen to suit the layer.
_HEIGHTS_MM = {
    "span": (SpanPiece.base_height_mm, SpanPiece.post_height_mm),
    "fit": (FitPiece.height_mm, FitPiece.head_mm, FitPiece.foot_height_mm),
}


def line_sizes(
    kind: Literal["span", "fit"],
    nozzle_mm: float,
    *,
    line_width_mm: float | None = None,
    layer_mm: float | None = None,
) -> dict[str, Any]:
    """Line width, layer and, of a fit piece, beads of a wall: parameters of the piece.

    Raises:
        InputError: this nozzle cannot lay them; the hint says what would do.
    """
    _demand_usual(nozzle_mm)
    width = round(LINE_PER_NOZZLE * nozzle_mm, 3) if line_width_mm is None else line_width_mm
    demand_line(width, nozzle_mm)
    layer = usual_layer_mm(nozzle_mm, width) if layer_mm is None else layer_mm
    demand_above_zero({"layer_mm": layer})
    demand_layers(_HEIGHTS_MM[kind], layer, width, nozzle_mm)
    sizes: dict[str, Any] = {"line_width_mm": width, "layer_mm": layer}
    if kind == "fit":
        thick = (n for n in (4, 6, 8, 10, 12) if rib_mm(n, width, layer) >= COLLAR_MM)
        sizes["wall_beads"] = next(thick, 12)
    return sizes


def ring_for(nozzle_mm: float, **sizes: Any) -> BeadPiece:
    """The bead piece for a nozzle, refused with advice where that nozzle cannot lay its layer."""
    _demand_usual(nozzle_mm)
    narrowest = min(BeadPiece.for_nozzle(nozzle_mm).widths_mm)
    if "layer_mm" in sizes:
        demand_above_zero({"layer_mm": sizes["layer_mm"]})
        demand_layers((BeadPiece.band_mm,), sizes["layer_mm"], narrowest, nozzle_mm)
    return BeadPiece.for_nozzle(nozzle_mm, **sizes)


def _demand_usual(nozzle_mm: float) -> None:
    """Refuse a nozzle for which no piece is drawn; the hint names the nearest."""
    if not SMALLEST_MM <= nozzle_mm <= LARGEST_MM:
        nearest = SMALLEST_MM if nozzle_mm < SMALLEST_MM else LARGEST_MM
        hint = f"the pieces are drawn for nozzles of {SMALLEST_MM:g} to {LARGEST_MM:g} mm: "
        demand(False, "nozzle", f"{hint}one of {nearest:g} mm would do")
