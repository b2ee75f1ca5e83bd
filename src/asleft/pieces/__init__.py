"""Gauge pieces: their parameters, the places where the jaws go, and the files made from them.

The one door of this room. Nothing here knows a machine, a line or a store. What needs numpy or
the library for solids is imported only when it is asked for, so that readings start fast.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from asleft.pieces.bead import BeadPiece
from asleft.pieces.fit import centre_mm, demand_on_bed, fits
from asleft.pieces.fitting import FitPiece
from asleft.pieces.nozzle import line_sizes, ring_for
from asleft.pieces.place import Place
from asleft.pieces.rib import rib_mm, spacing_mm
from asleft.pieces.span import SpanPiece

if TYPE_CHECKING:
    from asleft.pieces.check import Stiffness, stiffened, stiffness
    from asleft.pieces.cost import Cost, column_cost, span_cost
    from asleft.pieces.drawing import drawing_svg
    from asleft.pieces.export import write_piece
    from asleft.pieces.path import PathSettings, ToolPath, tool_path

__all__ = [
    "BeadPiece",
    "Cost",
    "FitPiece",
    "PathSettings",
    "Place",
    "SpanPiece",
    "Stiffness",
    "ToolPath",
    "centre_mm",
    "column_cost",
    "demand_on_bed",
    "drawing_svg",
    "fits",
    "line_sizes",
    "rib_mm",
    "ring_for",
    "spacing_mm",
    "span_cost",
    "stiffened",
    "stiffness",
    "tool_path",
    "write_piece",
]

_LATER = {
    "Cost": "cost",
    "PathSettings": "path",
    "Stiffness": "check",
    "ToolPath": "path",
    "column_cost": "cost",
    "drawing_svg": "drawing",
    "span_cost": "cost",
    "stiffened": "check",
    "stiffness": "check",
    "tool_path": "path",
    "write_piece": "export",
}


def __getattr__(name: str) -> Any:
    """A public name whose file is imported at its first use (PEP 562)."""
    if name not in _LATER:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_LATER[name]}"), name)
