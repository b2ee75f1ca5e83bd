"""A delta whose arms were changed: nothing moves before it was homed and its height set again.

The flag stands in the store, as the change itself, until the person's word that it was done; so it
outlasts a reset and the end of the program. Within a session the controller refuses moves, too.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from asleft.bench.person import Ask
from asleft.controller import loses_its_place
from asleft.errors import RefusedError
from asleft.trials import ByHand, Home, Move, Trial

if TYPE_CHECKING:
    from asleft.bench.desk import Desk

EVENT = "height"
AGAIN = "home it, set its height over the bed and look at the level, as its manual says"
CAUTION = (
    "Afterwards the machine does not know where it is: the nozzle may hit the bed. Before anything"
    f" moves, {AGAIN}."
)
_ASK = Ask(
    "height.again",
    f"The arms or end stops of this machine were changed: {AGAIN}. Is that done?",
    cautions=("Keep a hand at the switch while it homes: it stops where the new values say.",),
    action="set_height",
    only_in_person=True,
)


def height_is_lost(desk: Desk) -> bool:
    """Whether arms or end stops were changed and nobody said since that the height was set."""
    changed = [
        mark.at
        for calibration in desk.store.calibrations(desk.row.id)
        for change in desk.store.changes(calibration.id)
        for mark in change.marks
        if mark.state in ("sent", "handed_over") and touches_height(mark.details.get("lines", ()))
    ]
    done = [event.at for event in desk.store.events(desk.row.id) if event.kind == EVENT]
    return bool(changed) and max(changed) >= max(done, default="")


def require_height(desk: Desk) -> None:
    """Ask whether it was homed and its height set, and note the person's word.

    Raises:
        RefusedError: it was not; nothing moves.
    """
    if not height_is_lost(desk):
        return
    if not desk.person.confirm(_ASK):
        raise RefusedError(
            "arms or end stops were changed and the height was not set again: nothing moves",
            hint=f"First {AGAIN}; then say so with `asleft event {EVENT}`.",
            where="height",
        )
    desk.store.add_event(desk.row.id, EVENT, "said when asked")


def moves(trial: Trial) -> bool:
    """Whether the carriage moves in a trial, by our command or by a print; a feed moves none."""
    return any(
        isinstance(step, Home | Move) or (isinstance(step, ByHand) and step.action == "print")
        for step in trial.steps
    )


def touches_height(lines: object) -> bool:
    """Whether lines that were sent or handed over change arms or end stops."""
    return isinstance(lines, list | tuple) and any(loses_its_place(str(x)) for x in lines)
