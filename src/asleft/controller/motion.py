"""Moving and feeding under limits, in pieces short enough to stop behind.

Each piece takes at most two seconds and is ended by M400, so that a stop never stands behind
more. Only inside the stated travel, only after homing, only through a hot nozzle. Stands on
`asking` and `heat`; the state around a feed is `overrides`' business.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from asleft.controller.asking import Asker
from asleft.controller.capabilities import parse_position
from asleft.controller.codes import PIECE_S, feed_codes
from asleft.controller.description import MachineDescription
from asleft.controller.heat import ANSWER_S, Heat, Progress
from asleft.controller.limits import check_feed
from asleft.controller.setting import format_number
from asleft.errors import InputError, MachineError, RefusedError
from asleft.units import LINEAR_AXES

_FASTEST_MOVE_MM_MIN = 6000.0
_SLOWEST_HOMING_MM_S = 2.0  # Z on a fine screw (common practice, no source)
_MARGIN_S = 30.0
_ARRIVED_MM = 0.06  # positions are printed with two digits


class Motion:
    """The axes and extruders of one machine."""

    def __init__(self, asker: Asker, description: MachineDescription, heat: Heat) -> None:
        self._asker = asker
        self.description = description
        self._heat = heat
        self.guard_is_off = False  # set by the detached form of the feed only

    def position(self) -> dict[str, float]:
        """Where the machine says it is, mm, by axis; empty where it does not say."""
        heard = self._asker.ask("M114", within_s=ANSWER_S, awaited="the position")
        return parse_position([*heard.texts])

    def home(self, axes: Iterable[str] = LINEAR_AXES) -> None:
        """Home the axes; what is homed is forgotten on a restart and when motors go off.

        Raises:
            InputError: no such axis.
            MachineError: the machine refused, or found no end stop.
        """
        wanted = [axis for axis in LINEAR_AXES if axis in set(axes)]
        if not wanted or set(axes) - set(LINEAR_AXES):
            raise InputError("these axes cannot be homed", hint="Give X, Y or Z.", where="axes")
        bound_s = sum(self.description.travel_mm) / _SLOWEST_HOMING_MM_S + _MARGIN_S
        self._asker.homed -= set(wanted)
        every = set(wanted) == set(LINEAR_AXES) or self.description.drive == "delta"
        command = "G28" if every else "G28 " + " ".join(wanted)
        with self._asker.operation():
            self._asker.ask(command, within_s=bound_s, awaited="homing")
            self._asker.ask("M400", within_s=bound_s, awaited="the end of homing")
        self._asker.homed |= set(LINEAR_AXES if every else wanted)

    def move(
        self,
        *,
        x_mm: float | None = None,
        y_mm: float | None = None,
        z_mm: float | None = None,
        rate_mm_min: float = 1500.0,
    ) -> None:
        """Move in a straight line to a place inside the stated travel, and wait for its end.

        Raises:
            RefusedError: an axis is not homed, or the place is outside the travel.
            InputError: a rate that cannot be.
            MachineError: refused, or the machine does not say that it arrived.
        """
        wished = {"X": x_mm, "Y": y_mm, "Z": z_mm}
        target = {axis: mm for axis, mm in wished.items() if mm is not None}
        if not 0 < rate_mm_min <= _FASTEST_MOVE_MM_MIN:
            raise InputError(
                f"{rate_mm_min:g} mm/min is no rate to move at",
                hint=f"Give at most {_FASTEST_MOVE_MM_MIN:g} mm/min.",
                where="rate",
            )
        self._require_homed(target)
        start = self.position()
        if not start:
            raise MachineError("the machine does not say where it is", hint="Home it again.")
        self._require_inside({**start, **target})
        for command in ("G21", "G90"):
            self._asker.ask(command, within_s=ANSWER_S)
        length_mm = math.dist([start[a] for a in target], list(target.values()))
        pieces = max(1, math.ceil(length_mm / rate_mm_min * 60 / PIECE_S))
        with self._asker.operation():
            for piece in range(1, pieces + 1):
                there = {a: start[a] + piece / pieces * (mm - start[a]) for a, mm in target.items()}
                words = [a + format_number(mm, decimals=3) for a, mm in there.items()]
                self._piece(f"G1 {' '.join(words)} F{format_number(rate_mm_min)}", PIECE_S)
        self._require_arrived(target)

    def feed(
        self,
        length_mm: float,
        rate_mm_min: float,
        *,
        tool: int = 0,
        progress: Progress | None = None,
    ) -> None:
        """Feed filament, and wait until it is fed.

        Args:
            length_mm: commanded length, above 0 to 1000.
            rate_mm_min: mm of filament a minute, at most the description's limit.
            tool: 0 for the first.
            progress: told the share fed and the seconds left.

        Raises:
            InputError, RefusedError: bad numbers, or a cold nozzle; nothing was fed.
            MachineError: the machine refused a piece, also where an ok came with the refusal.
        """
        check_feed(length_mm, rate_mm_min, tool, self.description)
        if not self.guard_is_off:
            self._heat.require_hot(tool)
        codes = feed_codes(length_mm, rate_mm_min, tool, self.description.tools)
        pieces = codes.count("M400")
        first = len(codes) - 2 * pieces
        bound_s = 3 * PIECE_S + _MARGIN_S
        for code in codes[:first]:
            self._asker.ask(code, within_s=bound_s, awaited="what a feed needs")
        with self._asker.operation():
            for done, code in enumerate(codes[first::2], start=1):
                self._piece(code, PIECE_S)
                if progress is not None:
                    left_s = (1 - done / pieces) * length_mm / rate_mm_min * 60
                    progress(done / pieces, left_s)

    def _piece(self, command: str, seconds: float) -> None:
        """One short piece and its end: the ok to a move only says that it is queued."""
        bound_s = 3 * seconds + _MARGIN_S
        self._asker.ask(command, within_s=bound_s, awaited="a piece of motion")
        self._asker.ask("M400", within_s=bound_s, awaited=f"the end of {command}")

    def _require_homed(self, target: dict[str, float]) -> None:
        lost = [axis for axis in target if axis not in self._asker.homed]
        if lost or not target:
            raise RefusedError(
                f"{', '.join(lost) or 'no axis'} is not homed", hint="Home it first.", where="move"
            )

    def _require_inside(self, place: dict[str, float]) -> None:
        """Corner beds count from 0; round beds and deltas from the middle."""
        x, y, z = (place[axis] for axis in LINEAR_AXES)
        size_x, size_y, size_z = self.description.travel_mm
        if self.description.bed_shape == "round":
            inside = math.hypot(x, y) <= size_x / 2
        else:
            inside = 0 <= x <= size_x and 0 <= y <= size_y
        if not (inside and 0 <= z <= size_z):
            raise RefusedError(
                f"X{x:g} Y{y:g} Z{z:g} is outside the stated travel",
                hint="Choose a place inside, or correct the machine's description.",
                where="move",
            )

    def _require_arrived(self, target: dict[str, float]) -> None:
        there = self.position()
        if not all(abs(there.get(a, mm) - mm) <= _ARRIVED_MM for a, mm in target.items()):
            raise MachineError(
                f"sent to {target}, the machine says it is at {there}",
                hint="It may limit its own travel; home it and look before going on.",
                where="move",
            )
