"""Printing from the memory card, taking the piece off, and trying it with caliper and shaft.

Own time passes for it, the wall hardly notices. Not for the shape of the piece (`deposit`, `shape`)
and not for the hand's errors (`person`). Stands on those, the controller and the hidden errors.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from asleft.pieces import BeadPiece, FitPiece, Place, SpanPiece, centre_mm
from asleft.practice.board.card import print_card
from asleft.practice.board.controller import Controller
from asleft.practice.body.hidden import Hidden
from asleft.practice.body.piece import MotionErrors
from asleft.practice.body.track import Moves, Track
from asleft.practice.body.truth import Truth
from asleft.practice.errors import CannotError
from asleft.practice.person import Person
from asleft.practice.printed.bead import PrintedBead
from asleft.practice.printed.deposit import beads_of
from asleft.practice.printed.fit import PrintedFit
from asleft.practice.printed.shape import Lying
from asleft.practice.printed.span import PrintedSpan
from asleft.practice.words.kinds import Kind

COOLING_MINUTES = 30.0
"""Minutes off the bed before anybody measures."""
DENSITY_G_CM3, DENSITY_SD = 1.24, 0.01
"""Of spools (from memory of the trade), and how much they differ (ours)."""
Printed = PrintedSpan | PrintedBead | PrintedFit
Sort = TypeVar("Sort", PrintedSpan, PrintedBead, PrintedFit)
Drawn = SpanPiece | BeadPiece | FitPiece
_PIECES: Mapping[str, type[Drawn]] = {
    "span": SpanPiece,
    "bead": BeadPiece,
    "fit": FitPiece,
}


class Printing:
    """The memory card, the bed, and the piece that was printed last.

    Args:
        seed: of the workshop; every piece has one of its own from it.
        board: the controller. track: what it executes.
        truth, hidden: what is wrong with the machine.
        person: who reads.
    """

    def __init__(
        self,
        *,
        seed: int,
        board: Controller,
        track: Track,
        truth: Truth,
        hidden: Hidden,
        person: Person,
    ) -> None:
        self._seed, self._board, self._track, self._truth = seed, board, track, truth
        self._hidden, self._person = hidden, person
        self._piece: Printed | None = None
        self._printed = 0
        self._turn: dict[float, int] = {}
        density = np.random.default_rng([seed, 8]).normal(DENSITY_G_CM3, DENSITY_SD)
        self._density_g_cm3 = float(density)

    async def print_piece(
        self,
        piece: str,
        parameters: dict[str, Any],
        text: str | None = None,
        file: str | None = None,
    ) -> dict[str, Any]:
        """Print the codes on the card with what is in force now, and take the piece off.

        Args:
            piece, parameters: what it is meant to be, so that its places are known.
            text: the codes; else `file` says where they stand.
        """
        drawn = self._drawn(piece, parameters)
        if text is None and file is None:
            raise CannotError("there is no file on the memory card")
        codes = _read(str(file)) if text is None else text
        self._check_ready()
        self._track.clear()
        printed = await print_card(self._board, codes)
        self._take_off(drawn)
        return {
            "minutes": round(printed.seconds / 60, 1),
            "cooling_minutes": COOLING_MINUTES,
            "lines": printed.lines,
            "refused": list(printed.refused),
        }

    def take_off(self, piece: str, parameters: dict[str, Any]) -> dict[str, Any]:
        """Take off what was printed over the line since the axes were homed.

        Raises:
            CannotError: nothing was: what lies on the table already stays the piece to read.
        """
        drawn = self._drawn(piece, parameters)
        moves = self._track.moves()
        if not np.any(moves.melts & (moves.motor_mm > 0)):
            raise CannotError("nothing was printed over the line; a piece from the card is off")
        self._check_ready()
        self._take_off(drawn)
        return {"cooling_minutes": COOLING_MINUTES}

    def _take_off(self, drawn: Drawn) -> None:
        """What was executed becomes plastic, under the settings that are in force."""
        moves, kind, motion = self._track.moves(), self._board.kind, self._hidden.errors()
        if kind.drive != "cartesian":
            motion = replace(motion, reached=self._hidden.reached)
        self._track.clear()
        self._board.clock.skip(COOLING_MINUTES * 60)
        self._printed += 1
        seed = int(np.random.default_rng([self._seed, 4, self._printed]).integers(2**31))
        self._turn.clear()
        self._piece = as_printed(drawn, moves, motion, self._truth, kind=kind, seed=seed)

    def measure(
        self, direction: str, faces: str, nominal_mm: float, label: str | None = None
    ) -> dict[str, str]:
        """Read one place of the last printed span piece."""
        piece = self._of(PrintedSpan, "span")
        place = piece.find(direction, faces, nominal_mm, label)
        if place is None:
            meant = label or f"{direction} {faces} {nominal_mm:g}"
            raise CannotError(f"no such place on the piece: {meant}")
        if place.nominal_mm > self._person.caliper.reach_mm:
            raise CannotError(f"the caliper does not reach {place.nominal_mm:g} mm")
        return {"text": self._caliper(piece, place)}

    def measure_place(self, label: str) -> dict[str, str]:
        """Read the place of that number on the drawing: on the span piece, or the ring's wall."""
        if not isinstance(self._piece, PrintedBead):
            return self.measure("", "", math.nan, label)
        places = {place.label: place for place in self._piece.drawn.places()}
        if label not in places:
            raise CannotError(f"no such place on the ring: {label}")
        return self.measure_bead(places[label].nominal_mm, label)

    def _caliper(self, piece: PrintedSpan, place: Place) -> str:
        flat = place.direction != "Z"
        sign = {"outside": 1, "inside": -1}.get(place.faces, 0) if flat else 0
        return self._person.read_distance(
            piece.distance_mm(place) - sign * self._truth.jaw_bend_mm,
            "depth" if place.faces == "same" else place.faces,
            tilt_mm=self._truth.jaw_tilt_mm if flat else 0.0,
            swap_mm=-2 * sign * piece.drawn.post_mm,
            label=place.label,
        )

    def measure_bead(self, drawn_width_mm: float, label: str | None = None) -> dict[str, str]:
        """Read the wall of a band; without a label the next of its flats, one after the other."""
        piece = self._of(PrintedBead, "bead")
        places = piece.places(drawn_width_mm)
        named = [p for p in places if label is not None and p.label == str(label)]
        if label is not None and not named:
            raise CannotError(f"no such place on that band: {label}")
        turn = self._turn.get(drawn_width_mm, 0)
        place = named[0] if named else places[turn % len(places)]
        self._turn[drawn_width_mm] = turn + (not named)
        text = self._person.read_distance(
            piece.thickness_mm(place),
            "outside",
            tilt_mm=self._truth.jaw_tilt_mm,
            swap_mm=0.0,
            label=place.label,
        )
        return {"text": text}

    def weigh(self) -> dict[str, str]:
        """Weigh the bead piece, without the line that was laid beside it."""
        mm3 = self._of(PrintedBead, "bead").volume_mm3()
        return {"text": self._person.read_mass(mm3 * self._density_g_cm3 / 1000)}

    def try_fit(
        self, drawn_mm: float, kind: str, gauge_mm: float, label: str | None = None
    ) -> dict[str, str]:
        """Try a body with one's own shaft or bearing, whose true size only the hand feels.

        `label` is what is raised on the body; its drawn size says which it is.
        """
        size_mm = self._of(PrintedFit, "fit").size_mm(kind, drawn_mm)
        own_mm = self._person.own_part_mm(gauge_mm, kind)
        return {
            "outcome": self._person.feel(size_mm - own_mm if kind == "bore" else own_mm - size_mm)
        }

    def _of(self, kind: type[Sort], name: str) -> Sort:
        if self._piece is None:
            raise CannotError("nothing has been printed")
        if not isinstance(self._piece, kind):
            raise CannotError(f"what was printed last is no {name} piece")
        return self._piece

    def _drawn(self, piece: str, parameters: dict[str, Any]) -> Drawn:
        if piece not in _PIECES:
            raise CannotError(f"no piece {piece!r}; known: {', '.join(_PIECES)}")
        return _PIECES[piece].from_dict(parameters)

    def _check_ready(self) -> None:
        if self._board.halted or self._board.booting:
            raise CannotError("the machine does not answer its buttons")
        if self._board.planner.until_done_s(self._board.clock.now_s()) > 0:
            raise CannotError("the machine is still moving")


def as_printed(
    drawn: Drawn, moves: Moves, motion: MotionErrors, truth: Truth, *, kind: Kind, seed: int
) -> Printed:
    """What the moves made of a piece that was meant to stand in the middle of the bed.

    Args:
        drawn: its parameters, by which its faces are found.
        moves: as executed. motion: the machine's errors meanwhile.
        truth: the hidden numbers. kind: bed and filament. seed: of this piece.
    """
    beads = beads_of(moves, motion, truth, filament_mm=kind.filament_mm, seed=seed)
    own, middle = centre_mm(drawn, kind.bed_shape), kind.middle_mm
    origin = (middle[0] - own[0], middle[1] - own[1])
    lying = Lying(beads, truth, origin, drawn.layer_mm, seed)
    if isinstance(drawn, SpanPiece):
        return PrintedSpan(drawn, lying)
    return PrintedBead(drawn, lying) if isinstance(drawn, BeadPiece) else PrintedFit(drawn, lying)


def _read(file: str) -> str:
    return Path(file).read_text(encoding="utf-8")
