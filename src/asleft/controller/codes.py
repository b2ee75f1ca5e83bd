"""The codes that heat, cool and feed, as they are sent: for the machine and for a listing.

Pure; what stands in a list of steps is what goes over the line. Not for the questions between
(temperatures, the end of a piece is one of its codes) nor for what is read and put back around a
feed, save the cold-feed guard.
"""

from __future__ import annotations

import math
from itertools import pairwise

from asleft.controller.setting import format_number

PIECE_S = 2.0  # a stop never stands behind more


def heat_codes(tool: int, target_c: float, tools: int) -> list[str]:
    """The new target of one tool, °C; never a blocking wait.

    Args:
        tool: 0 for the first.
        target_c: °C.
        tools: how many the machine has; a single one is not named.
    """
    which = f"T{tool} " if tools > 1 else ""
    return [f"M104 {which}S{format_number(target_c, decimals=1)}"]


def cool_codes(tools: int) -> list[str]:
    """All nozzles and the bed off."""
    return [code for tool in range(tools) for code in heat_codes(tool, 0.0, tools)] + ["M140 S0"]


def feed_codes(
    length_mm: float, rate_mm_min: float, tool: int, tools: int, detached: bool = False
) -> list[str]:
    """A feed in short pieces, each awaited, with what must be set for it.

    Args:
        length_mm: commanded, mm.
        rate_mm_min: mm of filament a minute.
        tool: 0 for the first.
        tools: how many the machine has.
        detached: the tube is off the hot end: the cold-feed guard is off meanwhile, in the usual
            form; a machine that knows another form is sent that one too.
    """
    codes = [f"T{tool}"] if tools > 1 else []
    codes += ["G21", "M83"]
    for piece in feed_pieces(length_mm, rate_mm_min):
        codes += [piece, "M400"]
    return ["M302 P1", *codes, "M302 P0"] if detached else codes


def feed_pieces(length_mm: float, rate_mm_min: float) -> list[str]:
    """Pieces of at most two seconds whose printed lengths add up to the whole."""
    count = max(1, math.ceil(length_mm / rate_mm_min * 60 / PIECE_S))
    ends_mm = [round(length_mm * i / count, 5) for i in range(count + 1)]
    rate = format_number(rate_mm_min)
    lengths = (format_number(b - a, decimals=5) for a, b in pairwise(ends_mm))
    return [f"G1 E{length} F{rate}" for length in lengths]
