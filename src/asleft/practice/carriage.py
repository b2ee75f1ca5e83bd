"""Where the carriage really stands, and the instrument that is set up against it.

A drive that is wrong, slack that depends on the way it came, pulleys that are not quite round. Not
for what is printed (`piece`). Stands on the planner, the hidden truth and the person.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from asleft.practice.body.piece import BELT_TURN_MM, SCREW_TURN_MM
from asleft.practice.errors import CannotError

if TYPE_CHECKING:
    from asleft.practice.board.controller import Controller
    from asleft.practice.body.hidden import Hidden
    from asleft.practice.body.truth import Truth
    from asleft.practice.person import Person


class Carriage:
    """The carriage and the caliper set up along one axis, zeroed where it was set up."""

    def __init__(self, board: Controller, truth: Truth, hidden: Hidden, person: Person) -> None:
        self._board, self._truth, self._hidden, self._person = board, truth, hidden, person
        self._axis: str | None = None
        self._zero_mm = 0.0

    def true_mm(self, axis: str) -> float:
        """Where the axis really stands, mm: behind by half the slack on the way it came."""
        planner = self._board.planner
        if planner.until_done_s(self._board.clock.now_s()) > 0:
            raise CannotError("the carriage moves: hands off until it stands")
        x, y, z = (planner.planned[each] for each in "XYZ")
        at_mm = self._hidden.reached((x, y, z))["XYZ".index(axis)]
        slack = self._truth.reversal_mm.get(axis, 0.0)
        turn_mm = SCREW_TURN_MM if axis == "Z" else BELT_TURN_MM
        phase = 2 * math.pi * at_mm / turn_mm + self._truth.periodic_phase[axis]
        wave = self._truth.periodic_mm[axis] * math.sin(phase)
        return at_mm - planner.direction[axis] * slack / 2 + wave

    def mount(self, axis: str) -> None:
        """Set the caliper up along an axis and zero it."""
        self._zero_mm = self.true_mm(axis)
        self._axis = axis

    def measure(self, axis: str) -> dict[str, str]:
        """Read how far the axis is from where the caliper was zeroed."""
        if self._axis != axis:
            raise CannotError(f"the caliper is not set up along {axis}")
        return {"text": self._person.read_travel(self.true_mm(axis) - self._zero_mm)}
