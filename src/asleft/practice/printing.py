"""Printing a piece from the memory card and reading it with the caliper.

Own time passes for it, the wall hardly notices. Not for the shape of the piece (`piece`) and not
for the hand's errors (`person`). Stands on both, the controller and the hidden errors.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from asleft.pieces import SpanPiece
from asleft.practice.controller import Controller
from asleft.practice.errors import CannotError
from asleft.practice.hidden import Hidden
from asleft.practice.person import Person
from asleft.practice.piece import PrintedPiece, print_minutes
from asleft.practice.truth import Truth

PRINT_NOZZLE_C, PRINT_BED_C = 205.0, 55.0
COOLING_MINUTES = 30.0
"""Minutes off the bed before anybody measures."""


class Printing:
    """The memory card, the bed, and the piece that was printed last.

    Args:
        seed: of the workshop; every piece has one of its own from it.
        board: the controller.
        truth, hidden: what is wrong with the machine.
        person: who reads.
    """

    def __init__(
        self, *, seed: int, board: Controller, truth: Truth, hidden: Hidden, person: Person
    ) -> None:
        self._seed, self._board, self._truth = seed, board, truth
        self._hidden, self._person = hidden, person
        self._piece: PrintedPiece | None = None
        self._printed = 0

    async def print_piece(self, piece: str, parameters: dict[str, Any]) -> dict[str, float]:
        """Print with what is in force now; heaters and motors are off at the end."""
        if piece != "span":
            raise CannotError(f"no piece {piece!r} on the memory card")
        drawn = SpanPiece.from_dict(parameters)
        self._check_bed(drawn)
        board, clock = self._board, self._board.clock
        self._check_ready()
        motion = self._hidden.errors(board.modes.flow_percent)
        minutes = print_minutes(drawn)
        board.printing = True
        board.nozzle.aim(PRINT_NOZZLE_C, clock.now_s())
        board.bed.aim(PRINT_BED_C, clock.now_s())
        await clock.sleep(2.0)
        if board.halted or not board.printing:
            raise CannotError("the print was stopped")
        clock.skip(minutes * 60)
        self._end()
        clock.skip(COOLING_MINUTES * 60)
        self._printed += 1
        travel = board.kind.travel_mm
        seed = int(np.random.default_rng([self._seed, 4, self._printed]).integers(2**31))
        middle = (travel[0] / 2, travel[1] / 2)
        self._piece = PrintedPiece(drawn, motion, self._truth, middle, seed)
        return {"minutes": round(minutes, 1), "cooling_minutes": COOLING_MINUTES}

    def measure(
        self, direction: str, faces: str, nominal_mm: float, label: str | None = None
    ) -> dict[str, str]:
        """Read one place of the last printed piece."""
        if self._piece is None:
            raise CannotError("nothing has been printed")
        place = self._piece.find(direction, faces, nominal_mm, label)
        if place is None:
            raise CannotError(f"no such place on the piece: {label or (direction, faces)}")
        if place.nominal_mm > self._person.caliper.reach_mm:
            raise CannotError(f"the caliper does not reach {place.nominal_mm:g} mm")
        flat = place.direction != "Z"
        sign = {"outside": 1, "inside": -1}.get(place.faces, 0) if flat else 0
        text = self._person.read_distance(
            self._piece.distance_mm(place) - sign * self._truth.jaw_bend_mm,
            "depth" if place.faces == "same" else place.faces,
            tilt_mm=self._truth.jaw_tilt_mm if flat else 0.0,
            swap_mm=-2 * sign * self._piece.drawn.post_mm,
            label=place.label,
        )
        return {"text": text}

    def _check_bed(self, drawn: SpanPiece) -> None:
        xs, ys = zip(*drawn.outline_mm(), strict=True)
        height = max((drawn.post_height_mm, *drawn.column_heights_mm))
        sizes = (max(xs) - min(xs), max(ys) - min(ys), height)
        for axis, size, travel in zip("XYZ", sizes, self._board.kind.travel_mm, strict=True):
            if size > travel:
                raise CannotError(f"the piece is {size:.0f} mm in {axis}, the bed {travel:.0f} mm")

    def _check_ready(self) -> None:
        if self._board.halted or self._board.booting:
            raise CannotError("the machine does not answer its buttons")
        if self._board.planner.until_done_s(self._board.clock.now_s()) > 0:
            raise CannotError("the machine is still moving")

    def _end(self) -> None:
        """What the end of the file does."""
        board, now = self._board, self._board.clock.now_s()
        board.nozzle.aim(0, now)
        board.bed.aim(0, now)
        board.planner.homed.clear()
        board.modes.absolute, board.modes.feed_absolute, board.modes.fan = True, False, 0
        board.printing = False
