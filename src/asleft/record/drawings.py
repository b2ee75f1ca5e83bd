"""The drawings that belong to a record's readings: each printed piece with its numbered places.

Kept in the record as they were drawn, so that a reprint needs no program that still knows the
piece. Drawn only where every reading names a place of that piece. Stands on `pieces`.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from asleft.errors import InputError
from asleft.pieces.figure import Piece, figure_svg, piece_of, places_of

PIECES = {"span": "span", "proof": "span", "bead": "bead", "fit": "fit"}
SAME_SIZE_MM = 0.006  # a readings file may give a drawn size to the hundredth

Trial = Mapping[str, Any]


def drawings(trials: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The drawing of each piece that was read: `trials` by number, `piece`, `svg`, `reason`.

    `svg` is None where the readings are not those of the drawn piece, and `reason` says so.
    """
    found: dict[str, dict[str, Any]] = {}
    for trial in trials:
        told = _piece(trial)
        if told is None or not trial["readings"]:
            continue
        reason = _unlike(told, trial)
        kind = PIECES[trial["kind"]]
        key = json.dumps([kind, told.to_dict(), reason], sort_keys=True)
        svg = None if reason else figure_svg(told)
        entry: dict[str, Any] = {"trials": [], "piece": kind, "svg": svg, "reason": reason}
        found.setdefault(key, entry)["trials"].append(trial["id"])
    return list(found.values())


def _piece(trial: Trial) -> Piece | None:
    """The piece a trial was begun with; None for a trial without one."""
    parameters = (trial["parameters"].get("trial") or {}).get("piece")
    if parameters is None or trial["kind"] not in PIECES:
        return None
    try:
        return piece_of(PIECES[trial["kind"]], parameters)
    except InputError:
        return None


def _unlike(piece: Piece, trial: Trial) -> str | None:
    """Why the readings are not of this piece, or None."""
    sizes = {place.label: (place.direction, place.nominal_mm) for place in places_of(piece)}
    for reading in trial["readings"]:
        about = reading["place"]
        if about.get("weighed"):
            continue
        label = about.get("place", about.get("label"))
        if label is None:
            return "the readings name no places"
        direction, size = sizes.get(str(label), (None, None))
        drawn = next((about[n] for n in ("nominal_mm", "drawn_width_mm") if n in about), None)
        if drawn is None and about.get("outcome"):
            drawn = about.get("drawn_mm", reading["value"])
        other = about.get("direction") not in (None, direction)
        if size is None or other or (drawn is not None and abs(drawn - size) > SAME_SIZE_MM):
            return f"place {label} of the readings is none of the piece's own"
    return None
