"""Gauge pieces: their parameters, the places where the jaws go, and the files made from them.

The one door of this room. Nothing here knows a machine, a line or a store; the library for
solids is imported only when a solid is made.
"""

from asleft.pieces.fit import centre_mm, fits
from asleft.pieces.place import Place
from asleft.pieces.span import SpanPiece

__all__ = ["Place", "SpanPiece", "centre_mm", "fits"]
