"""A checked file sent over the line: every line acknowledged, every wait for heat made by asking.

Never more than two seconds of motion are sent ahead, so that a stop stands behind no more on any
board; no longer pause than the acknowledgement asks for. Not for progress or words (`bench`).
Stands on `asking`, `heat` and `print_file`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from asleft.controller.print_file import PrintFile, PrintLine
from asleft.errors import MachineError
from asleft.units import LINEAR_AXES

if TYPE_CHECKING:
    from asleft.controller.heat import Progress
    from asleft.controller.machine import Machine

AHEAD_S = 2.0
LIFT_MM = 5.0  # in a pause, so that the nozzle does not melt what it stands on
_LIFT_MM_MIN = 300.0
_PAUSE_S = 0.2
_QUEUE = 32  # moves that a board may hold; more than common ones do (from memory)
_MARGIN_S = 30.0
_ANSWER_S = 10.0


class PrintOver:
    """One print over the line of a connected machine, line by line.

    Args:
        machine: homed by the file itself. file: checked for it.
        heating: told the share and the seconds left while something warms up.
    """

    def __init__(
        self,
        machine: Machine,
        file: PrintFile,
        *,
        heating: Progress | None = None,
    ) -> None:
        self._machine, self._file, self._heating = machine, file, heating
        self._asker, self._heat = machine._asker, machine._heat
        self._clock, self._pause = machine._clock, machine._pause
        self._due_s = self._clock()  # when everything sent so far will have been made
        self.sent = 0

    def lines(self) -> Iterator[PrintLine]:
        """Send the file; each line is given back once the machine has acknowledged it.

        Raises:
            LineError, MachineError, Stopped: the print has ended; make the machine safe.
        """
        for line in self._file.lines:
            self._send(line)
            self.sent += 1
            yield line
        self._ask("M400", self._bound_s())

    def hold(self, line: PrintLine, go_on: Callable[[], bool]) -> None:
        """Stand still above the piece after a line until `go_on` says so; hot meanwhile.

        Raises:
            MachineError: the heaters were switched off while it stood: it cannot go on.
        """
        self._ask("M400", self._bound_s())
        lifted = min(line.z_mm + LIFT_MM, self._machine.description.travel_mm[2])
        self._ask(f"G0 Z{lifted:.3f} F{_LIFT_MM_MIN:g}", _MARGIN_S)
        before = self._targets()
        while not go_on():
            self._pause(_PAUSE_S)
            self._asker.hear()
        if self._targets() != before:
            raise MachineError(
                "the heaters were switched off during the pause",
                hint="The piece cannot be gone on with: clear the bed and begin it anew.",
                where=line.text,
            )
        self._ask(f"G0 Z{line.z_mm:.3f}", _MARGIN_S)
        self._ask(f"G0 F{line.rate_mm_min:g}", _MARGIN_S)
        self._due_s = self._clock()

    def _targets(self) -> dict[str, float | None]:
        return {name: one.target_c for name, one in self._machine.temperatures().items()}

    def _send(self, line: PrintLine) -> None:
        """One line; what would block the controller is made by asking instead."""
        target_c = line.words.get("S", 0.0)
        if line.code == "M109":
            self._heat.heat(0, target_c, progress=self._heating)
        elif line.code == "M190":
            self._heat.heat_bed(target_c, progress=self._heating)
        elif line.code == "G28":
            self._machine.home(LINEAR_AXES)
        else:
            self._not_too_far_ahead(line)
            self._ask(line.text, self._bound_s())
        if line.code in ("M109", "M190", "G28"):
            self._due_s = self._clock()
        if line.code == "M84":
            self._asker.homed -= set(LINEAR_AXES)

    def _not_too_far_ahead(self, line: PrintLine) -> None:
        """Wait until no more than two seconds are still to be made before this line."""
        wait_s = self._due_s - self._clock() - AHEAD_S
        if wait_s > 0:
            self._pause(wait_s)
        self._due_s = max(self._due_s, self._clock()) + line.seconds

    def _bound_s(self) -> float:
        """How long an acknowledgement may take: until the moves before it are made, generously."""
        before = self._file.lines[max(0, self.sent - _QUEUE) : self.sent + 1]
        return 3 * math.fsum(line.seconds for line in before) + _MARGIN_S

    def _ask(self, command: str, within_s: float) -> None:
        with self._asker.operation():
            self._asker.ask(command, within_s=within_s, awaited="a line of the print")
