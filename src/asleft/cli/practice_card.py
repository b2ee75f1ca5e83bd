"""The memory card of the practice machine: what its owner puts on it before a print.

The file is the one that `asleft piece` writes, made for the machine that was described; not for
what comes of it. Stands on the pieces and the hands.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from asleft.practice.hands import Hands

LABEL_TEMPERATURE_C = 205.0  # what the practice spool's label says
BED_C = 55.0


def card_text(piece: str, parameters: Mapping[str, Any], machine: Mapping[str, Any]) -> str:
    """The codes of a piece for a machine as its owner would describe it.

    Args:
        piece: `span`, `bead` or `fit`. parameters: as the piece's `to_dict` gives them.
        machine: `hello["machine"]` of the practice machine.

    Raises:
        InputError: the piece does not fit the bed, or its bead the nozzle.
    """
    from asleft.pieces import BeadPiece, FitPiece, PathSettings, SpanPiece, tool_path

    kinds: dict[str, type[SpanPiece | BeadPiece | FitPiece]]
    kinds = {"span": SpanPiece, "bead": BeadPiece, "fit": FitPiece}
    x, y, z = machine["travel_mm"]
    settings = PathSettings(
        nozzle_c=LABEL_TEMPERATURE_C,
        bed_c=BED_C,
        nozzle_mm=machine["nozzle_mm"],
        filament_mm=machine["filament_mm"],
        bed_shape=machine["bed_shape"],
        travel_mm=(x, y, z),
        max_nozzle_c=machine["max_nozzle_c"],
        max_bed_c=machine["max_bed_c"],
    )
    return tool_path(kinds[piece].from_dict(dict(parameters)), settings).text


def print_from_card(hands: Hands, details: Mapping[str, Any]) -> dict[str, Any]:
    """Put the piece's file on the card, print it, take it off and let it cool.

    Args:
        details: `piece`, `parameters`, and `path` where its file is written already.
    """
    piece, parameters = details["piece"], dict(details["parameters"])
    if details.get("path"):
        return hands.ask("print", piece=piece, parameters=parameters, file=str(details["path"]))
    told = (json.dumps(each, sort_keys=True) for each in (parameters, hands.hello["machine"]))
    text = _written(piece, *told)
    return hands.ask("print", piece=piece, parameters=parameters, text=text)


@lru_cache(maxsize=4)
def _written(piece: str, parameters: str, machine: str) -> str:
    """Written once: a second piece is printed from the file of the first."""
    return card_text(piece, json.loads(parameters), json.loads(machine))
