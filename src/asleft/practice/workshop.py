"""The practice workshop: hidden truth, controller, filament, piece and person put together.

What hands do beside the wire is asked for here by name; each request takes and gives JSON values.
Not for transports. Stands on every other file of the room.
"""

from __future__ import annotations

import uuid
from collections.abc import Awaitable, Callable
from dataclasses import fields
from typing import Any

import numpy as np

from asleft.errors import AsleftError
from asleft.practice.board.controller import Controller
from asleft.practice.body.drives import build_drive
from asleft.practice.body.filament import Filament
from asleft.practice.body.hidden import Hidden
from asleft.practice.body.motion import Move
from asleft.practice.body.track import Track
from asleft.practice.body.truth import draw_truth, with_tools
from asleft.practice.carriage import Carriage
from asleft.practice.clock import Clock
from asleft.practice.errors import CannotError
from asleft.practice.person import Person, draw_caliper
from asleft.practice.printed.printing import Printing
from asleft.practice.server import WireEnd
from asleft.practice.words.board_file import file_lines, write_in_file
from asleft.practice.words.kinds import Kind
from asleft.practice.words.settings import Settings

OFF_S = 10.0
"""Own seconds that the mains stays off in a power cycle."""


class Workshop:
    """One machine with its person.

    Args:
        seed: everything hidden follows from it.
        kind: what machine.
        clock: the own clock.
    """

    def __init__(self, *, seed: int, kind: Kind, clock: Clock) -> None:
        def chance(which: int) -> np.random.Generator:
            return np.random.default_rng([seed, which])

        self.clock = clock
        self.truth = with_tools(draw_truth(chance(0)), kind.dialect.tools, chance(6))
        self.person = Person(draw_caliper(chance(1)), chance(2))
        self.filament = Filament(self.truth.slip_onset_mm_min, self.truth.slip_steepness, chance(3))
        settings = Settings(
            {"M852": {"I": self.truth.skew_found}},
            factory=kind.factory,
            extruders=kind.dialect.tools,
            inches=kind.dialect.inches,
        )
        self.drive = build_drive(kind.drive, self.truth, settings.in_force, chance(5))
        self.hidden = Hidden(self.truth, settings, self.drive, kind.middle_mm)
        self.board = Controller(
            kind=kind,
            settings=settings,
            clock=clock,
            feed=self._push,
            feed_ratio=lambda: self.hidden.fed_ratio(settings.tools[self.board.tool]),
            identity=str(uuid.uuid5(uuid.NAMESPACE_OID, f"practice {kind.name} {seed}")),
        )
        self.track = Track()
        self.board.planner.watch, self.board.planner.emptied = self._watch, self.track.clear
        self.printing = Printing(
            seed=seed,
            board=self.board,
            track=self.track,
            truth=self.truth,
            hidden=self.hidden,
            person=self.person,
        )
        self.wire: WireEnd | None = None
        self.carriage = Carriage(self.board, self.truth, self.hidden, self.person)
        self._revealed = False
        self._requests = self._known_requests()

    def _known_requests(self) -> dict[str, Callable[..., Any]]:
        """What hands and tests may ask for, by name."""
        return {
            "mark": self.mark,
            "measure_remaining": self.measure_remaining,
            "detach": self.detach,
            "print": self.print_piece,
            "level": self.level,
            "take_off": self.printing.take_off,
            "measure": self.printing.measure,
            "measure_place": self.printing.measure_place,
            "measure_bead": self.printing.measure_bead,
            "weigh": self.printing.weigh,
            "try_fit": self.printing.try_fit,
            "measure_block": self.measure_block,
            "mount": self.carriage.mount,
            "measure_carriage": self.carriage.measure,
            "instrument": self.person.caliper.owner_knows,
            "power_cycle": self.power_cycle,
            "edit_file": self.edit_file,
            "read_file": self.read_file,
            "peek_heaters": self.peek_heaters,
            "peek_settings": self.peek_settings,
            "peek_received": self.peek_received,
            "faults": self.faults,
            "reveal": self.reveal,
        }

    async def do(self, name: str, **arguments: Any) -> dict[str, Any]:
        """Do one request.

        Raises:
            CannotError: unknown, wrong arguments, or not possible now.
        """
        if name not in self._requests:
            raise CannotError(f"unknown request {name!r}; known: {', '.join(self._requests)}")
        if self._revealed and name not in ("reveal", "instrument") and not name.startswith("peek"):
            raise CannotError("the truth is out: nothing is measured or done after it")
        try:
            result = self._requests[name](**arguments)
            if isinstance(result, Awaitable):
                result = await result
        except (TypeError, ValueError, KeyError) as error:
            raise CannotError(f"{name}: {error}") from error
        except AsleftError as error:
            raise CannotError(f"{error.message}: {error.hint}") from error
        return dict(result or {})

    def _push(self, motor_mm: float, rate_mm_min: float) -> None:
        if self.board.tool == 0:  # the mark is on the filament of the first tool
            self.filament.push(motor_mm, rate_mm_min, melts=self._melts())

    def _watch(self, move: Move) -> None:
        self.track.add(move, melts=self._melts())

    def _melts(self) -> bool:
        board = self.board
        return board.nozzles[board.tool].read_c(self.clock.now_s()) >= board.modes.cold_below_c

    def _settle(self) -> None:
        self.board.planner.settle(self.clock.now_s())

    def mark(self, marked_mm: float) -> None:
        """Mark the filament above the entry."""
        if not 0 < marked_mm <= self.person.caliper.reach_mm:
            raise CannotError(f"the depth rod does not reach {marked_mm:g} mm")
        self._settle()
        self.filament.mark(self.person.place_mark(marked_mm))

    def measure_remaining(self) -> dict[str, str]:
        """Read how far the mark still is from the entry."""
        self._settle()
        if self.filament.above_mm is None:
            raise CannotError("there is no mark on the filament")
        if self.filament.above_mm <= 0:
            raise CannotError("the mark has gone into the entry")
        if self.filament.above_mm > self.person.caliper.reach_mm + 1:
            raise CannotError("the mark is farther from the entry than the depth rod reaches")
        return {"text": self.person.read_mark(self.filament.above_mm)}

    def detach(self, detached: bool) -> None:
        """Take the tube off the nozzle, or put it back: then a cold feed meets no melt."""
        self.filament.detached = bool(detached)

    async def print_piece(
        self,
        piece: str,
        parameters: dict[str, Any],
        text: str | None = None,
        file: str | None = None,
    ) -> dict[str, Any]:
        """Print from the memory card; the mark on the filament goes in with the print."""
        if self.filament.detached:
            raise CannotError("the tube is off the nozzle")
        self.level()
        told = await self.printing.print_piece(piece, parameters, text, file)
        self.filament.above_mm = None
        return told

    def level(self) -> None:
        """Level the bed as one does by hand, with whatever is in force."""
        self.drive.level(self.board.settings.in_force)

    def measure_block(self, length_mm: float, jaws: str = "outside") -> dict[str, str]:
        """Read a gauge block of known length, true as stated."""
        if not 0 < length_mm <= self.person.caliper.reach_mm:
            raise CannotError(f"the caliper does not reach {length_mm:g} mm")
        return {
            "text": self.person.read_distance(length_mm, jaws, tilt_mm=0, swap_mm=0, label="block")
        }

    async def power_cycle(self) -> None:
        """Switch off, wait, switch on; done when the board takes lines again."""
        port = self.wire if self.board.faults.usb_powered else None
        if port is not None:
            await port.vanish()
        self.clock.skip(OFF_S)
        await self.board.reset()
        await self.booted()
        if port is not None:
            await port.appear()

    async def edit_file(self, lines: list[str]) -> dict[str, Any]:
        """Put handed-over settings into the file on the board, and restart it; says what went in.

        Raises:
            CannotError: this board has no such file, or a line is none that stands in it.
        """
        if self.board.dialect.storage != "file":
            raise CannotError("this board keeps no file")
        entered = write_in_file(self.board.settings, lines)
        await self.power_cycle()
        return {"entered": entered}

    def read_file(self) -> dict[str, list[str]]:
        """What the file on the board says."""
        if self.board.dialect.storage != "file":
            raise CannotError("this board keeps no file")
        return {"lines": file_lines(self.board.settings)}

    async def booted(self) -> None:
        """Wait until the board takes lines."""
        while self.board.booting:
            await self.clock.sleep(0.1)

    def peek_heaters(self) -> dict[str, Any]:
        """Whether heaters are on, and what else matters for safety. For tests."""
        now, nozzle, bed = self.clock.now_s(), self.board.nozzle, self.board.bed
        return {
            "on": any(each.target_c for each in (*self.board.nozzles, bed)),
            "nozzle_target_c": nozzle.target_c,
            "bed_target_c": bed.target_c,
            "nozzle_c": round(nozzle.read_c(now), 1),
            "bed_c": round(bed.read_c(now), 1),
            "halted": self.board.halted,
            "printing": self.board.printing,
            "moving": self.board.planner.until_done_s(now) > 0,
            "cold_guard": self.board.modes.cold_guard,
        }

    def peek_settings(self) -> dict[str, Any]:
        """What is in force and what is stored, by code and letter, mm. For tests."""
        settings = self.board.settings
        return {"in_force": settings.in_force, "stored": settings.storage}

    def peek_received(self, last: int = 50) -> dict[str, Any]:
        """The last lines that came over the wire, with own time. For tests."""
        lines = list(self.board.received)[-last:] if last > 0 else []
        return {"lines": [{"own_s": round(t, 3), "text": text} for t, text in lines]}

    async def faults(self, **asked: Any) -> None:
        """Trouble on purpose: the fields of `Faults`, and those named here."""
        board = self.board
        for name, value in asked.items():
            if name in {f.name for f in fields(board.faults)}:
                setattr(board.faults, name, value)
            elif name == "drop":
                if self.wire is not None:
                    self.wire.drop()
            elif name == "reset":
                await board.reset()
            elif name == "printing":
                board.printing = bool(value)
            elif name == "rises_c_s":
                board.nozzle.read_c(self.clock.now_s())
                board.nozzle.rises_c_s = float(value)
            elif name == "lose_storage":
                board.settings.storage_is_lost = bool(value)
            elif name == "misread_share":
                self.person.misread_share = float(value)
            else:
                raise CannotError(f"unknown fault {name!r}")

    def reveal(self) -> dict[str, Any]:
        """The hidden truth; nothing is measured after it."""
        self._revealed = True
        hidden, caliper = self.hidden, self.person.caliper
        return {
            "hidden": hidden.told(hidden.as_found),
            "residual": hidden.told(hidden.errors()),
            "truth": {
                **self.truth.to_dict(),
                "drive": self.drive.told(),
                "true_steps_per_mm": hidden.true_steps_per_mm,
                "caliper_zero_mm": caliper.zero_mm,
                "caliper_scale": caliper.scale,
                "misreads": self.person.misreads,
            },
        }
