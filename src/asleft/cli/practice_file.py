"""The owner of a practice machine that keeps its steps in a file on its board.

Reads that file as one does beside the machine, tells the bench what stands there, enters what the
bench hands over, and looks again at the end. Not for machines that tell their steps.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from asleft.bench import Bench
    from asleft.practice.hands import Hands

TYPED_DECIMALS = 4
"""As many as a person copies."""
SAME_WITHIN = 1e-5
"""Travel is written with five decimals: so far may steps come back from it (ours)."""


class FileOwner:
    """What its owner knows of the file, and has entered in it."""

    def __init__(self, bench: Bench, hands: Hands) -> None:
        self._bench, self._hands = bench, hands
        self._entered: dict[str, float] = {}

    def found(self) -> dict[str, Any]:
        """What the machine holds; what it does not tell is read in its file and typed."""
        found = self._bench.found()
        return found if found["complete"] else self._bench.found_from_steps(self.steps())

    def enter(self, _job: str, told: dict[str, Any]) -> None:
        """Put what was handed over into the file, and tell the bench what stands there then."""
        # What was sent and cannot be stored is handed over as well, verified: here is no file then.
        if told.get("handed_over") and told.get("by_hand") and told.get("verified") is None:
            self._entered |= self._hands.ask("edit_file", lines=told["by_hand"])["entered"]
            self.found()

    def steps(self) -> dict[str, float]:
        """Steps per mm by name, worked out of travel and steps per motor turn."""
        text = "\n".join(self._hands.ask("read_file")["lines"])
        entries = {
            key: float(value) for key, value in re.findall(r"motor\.(\w+\.\w+)\s+([\d.]+)", text)
        }
        names = sorted({key.partition(".")[0] for key in entries})
        travels = {name: entries[f"{name}.travel_per_turn_mm"] for name in names}
        return {
            name.upper(): round(entries[f"{name}.steps_per_turn"] / travels[name], TYPED_DECIMALS)
            for name in names
        }

    def left(self) -> dict[str, Any]:
        """What `asleft.practice/1` says otherwise where the file was changed; else nothing.

        The machine does not tell its steps, so its owner looks whether what was entered stands in
        the file after power was off and on.
        """
        if not self._entered:
            return {}
        now = self.steps()
        held = all(abs(now[name] / each - 1) < SAME_WITHIN for name, each in self._entered.items())
        return {"by_hand": True, "as_left": now, "stored": held, "survived_power_cycle": held}
