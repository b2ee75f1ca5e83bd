"""The trials: descriptions of measuring procedures that can be shown, checked, run and solved.

`build` makes one from its kind and parameters, whether a person has just chosen them or the
store kept them. Stands on measure, pieces and the machine's description; opens no line.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Any

from asleft.controller.description import MachineDescription
from asleft.errors import InputError
from asleft.pieces import BeadPiece, FitPiece, SpanPiece, line_sizes
from asleft.trials.basis import Basis
from asleft.trials.bead import BeadTrial
from asleft.trials.feed import FeedTrial
from asleft.trials.fit import FitTrial
from asleft.trials.span import ProofTrial, SpanTrial, span_readings, span_settings
from asleft.trials.steps import (
    ByHand,
    Choose,
    CoolDown,
    Feed,
    Heat,
    Home,
    Move,
    Read,
    Step,
    listing,
)
from asleft.trials.traverse import RUN_UP_MM, TraverseTrial
from asleft.trials.trial import Entry, Trial, check
from asleft.units import LINEAR_AXES

KINDS: dict[
    str,
    type[FeedTrial] | type[SpanTrial] | type[TraverseTrial] | type[BeadTrial] | type[FitTrial],
] = {
    "feed": FeedTrial,
    "span": SpanTrial,
    "traverse": TraverseTrial,
    "bead": BeadTrial,
    "fit": FitTrial,
    "proof": ProofTrial,
}
_PIECES: dict[str, type[SpanPiece] | type[BeadPiece] | type[FitPiece]] = {
    "span": SpanPiece,
    "proof": SpanPiece,
    "bead": BeadPiece,
    "fit": FitPiece,
}

ORDINARY_REACH_MM = 150.0  # of a caliper; a longer one is made use of with --pitch
_LISTS = ("earlier", "directions", "rates_mm_min")


def build(kind: str, parameters: Mapping[str, Any]) -> Trial:
    """A trial from its kind and parameters; parameters it does not know are left out.

    Raises:
        InputError: no such kind, or a parameter with which nothing can be measured.
    """
    if kind not in KINDS:
        raise InputError(
            f"there is no trial {kind!r}", hint=f"The trials are {', '.join(KINDS)}.", where="trial"
        )
    known = {f.name for f in fields(KINDS[kind])}
    chosen = {k: v for k, v in parameters.items() if k in known and v is not None}
    chosen |= {k: tuple(chosen[k]) for k in _LISTS if k in chosen}
    if isinstance(chosen.get("piece"), Mapping):
        chosen["piece"] = _PIECES[kind].from_dict(chosen["piece"])
    return KINDS[kind](**chosen)


def for_machine(kind: str, parameters: Mapping[str, Any], machine: MachineDescription) -> Trial:
    """A new trial; what was left open of its piece is as the files for this machine have it.

    Raises:
        InputError: as `build`, or no layout of the fit piece lies on this bed.
    """
    chosen = {k: v for k, v in parameters.items() if v is not None}
    if kind == "bead":
        chosen.setdefault("piece", BeadPiece.for_nozzle(machine.nozzle_mm))
        chosen.setdefault("filament_diameter_mm", machine.filament_mm)
    if kind in ("span", "proof"):
        chosen["piece"] = _of_its_bead(chosen.get("piece", SpanPiece()), machine)
    if kind == "fit" and "piece" in chosen:
        chosen["piece"] = _laid_out(chosen["piece"], machine)
    if kind == "traverse":
        chosen = _inside(chosen, machine)
    return build(kind, chosen)


def _inside(chosen: dict[str, Any], machine: MachineDescription) -> dict[str, Any]:
    """A traverse whose start and span, where they were left open, are inside the travel."""
    along = str(chosen.get("along", TraverseTrial.along))
    if along not in LINEAR_AXES:
        return chosen  # `build` says so
    size_mm = machine.travel_mm[LINEAR_AXES.index(along)]
    lowest_mm = -size_mm / 2 if machine.bed_shape == "round" and along != "Z" else 0.0
    ordinary_mm = min(TraverseTrial.span_mm, math.floor(size_mm - 2 * RUN_UP_MM))
    span_mm = chosen.get("span_mm", ordinary_mm)
    start_mm = TraverseTrial.start_mm
    beyond_mm = start_mm + span_mm + RUN_UP_MM - (lowest_mm + size_mm)
    if lowest_mm < 0 or beyond_mm > 0:
        start_mm = lowest_mm + (size_mm - span_mm) / 2
    return {"span_mm": span_mm, "start_mm": start_mm} | chosen


def _of_its_bead(piece: SpanPiece | Mapping[str, Any], machine: MachineDescription) -> SpanPiece:
    """The same places on a piece of the bead that this nozzle lays, as stiff as a light jaw asks.

    A width of line that is not the ordinary one was somebody's choice and stays. A nozzle for which
    no piece is drawn keeps nobody from reading one.
    """
    from asleft.pieces import stiffened  # needs numpy

    given = SpanPiece.from_dict(dict(piece)) if isinstance(piece, Mapping) else piece
    if given.line_width_mm != SpanPiece.line_width_mm:
        return given
    try:
        sizes = line_sizes("span", machine.nozzle_mm)
    except InputError:
        return given
    if sizes["line_width_mm"] == given.line_width_mm:
        return given
    return stiffened(replace(given, side_beads=2, diagonal_beads=2, **sizes))


def _laid_out(piece: FitPiece | Mapping[str, Any], machine: MachineDescription) -> FitPiece:
    """The same bodies in rows that lie on this bed, of the bead that its nozzle lays.

    A width of line that is not the ordinary one was somebody's choice and stays.
    """
    given = FitPiece.from_dict(dict(piece)) if isinstance(piece, Mapping) else piece
    sizes = {k: v for k, v in given.to_dict().items() if k != "columns"}
    if given.line_width_mm == FitPiece.line_width_mm:
        sizes |= line_sizes("fit", machine.nozzle_mm)
    return FitPiece.for_machine(bed_shape=machine.bed_shape, travel_mm=machine.travel_mm, **sizes)


__all__ = [
    "Basis",
    "BeadTrial",
    "ByHand",
    "Choose",
    "CoolDown",
    "Entry",
    "Feed",
    "FeedTrial",
    "FitTrial",
    "Heat",
    "Home",
    "Move",
    "ProofTrial",
    "Read",
    "SpanTrial",
    "Step",
    "TraverseTrial",
    "Trial",
    "build",
    "check",
    "for_machine",
    "listing",
    "span_readings",
    "span_settings",
]
