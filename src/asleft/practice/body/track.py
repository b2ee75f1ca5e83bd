"""What the machine has executed since it was last homed: move by move, as it believes it went.

Filled by the planner, whoever commanded: a program on the line or a file on the card. Not for
what became of it in plastic (`deposit`). Stands on numpy and the moves.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from asleft.practice.body.motion import Move

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Moves:
    """Executed moves in order, as arrays of n.

    `start_mm`, `end_mm` (n, 3) in the machine's coordinates; `motor_mm` what the motor pushed at
    its true steps; `seconds` each; `melts` whether the nozzle was hot enough to lay anything.
    """

    start_mm: Array
    end_mm: Array
    motor_mm: Array
    seconds: Array
    melts: npt.NDArray[np.bool_]


@dataclass
class Track:
    """Collects moves. `clear` when the axes are homed for a new piece."""

    _rows: list[tuple[float, ...]] = field(default_factory=list)

    def add(self, move: Move, *, melts: bool) -> None:
        """One move that was made."""
        a, b = move.start, move.end
        where = (a["X"], a["Y"], a["Z"], b["X"], b["Y"], b["Z"])
        self._rows.append((*where, move.feed_mm, move.ends_s - move.begins_s, melts))

    def clear(self) -> None:
        """Forget everything: the bed is empty."""
        self._rows.clear()

    def moves(self) -> Moves:
        """All of them so far."""
        table = np.array(self._rows, dtype=float).reshape(-1, 9)
        return Moves(
            table[:, 0:3], table[:, 3:6], table[:, 6], table[:, 7], table[:, 8].astype(bool)
        )
