"""The practice workshop: the hidden truth, the controller, the filament, the piece, the person.

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
from asleft.pieces import SpanPiece
from asleft.practice.clock import Clock
from asleft.practice.controller import Controller
from asleft.practice.filament import Filament
from asleft.practice.kinds import Kind
from asleft.practice.motion import AXES
from asleft.practice.person import Person, draw_caliper
from asleft.practice.piece import MotionErrors, PrintedPiece, print_minutes, printed_scale
from asleft.practice.settings import FACTORY, Settings
from asleft.practice.truth import draw_truth

PRINT_NOZZLE_C, PRINT_BED_C = 205.0, 55.0
COOLING_MINUTES = 30.0
"""Minutes off the bed before anybody measures."""


class CannotError(Exception):
    """Hands cannot do that now; the text says why."""


class Workshop:
    """One machine with its person.

    Args:
        seed: everything hidden follows from it.
        kind: what machine.
        clock: the own clock.
    """

    def __init__(self, *, seed: int, kind: Kind, clock: Clock) -> None:
        self.seed, self.kind, self.clock = seed, kind, clock
        self.truth = draw_truth(np.random.default_rng([seed, 0]))
        self.person = Person(
            draw_caliper(np.random.default_rng([seed, 1])), np.random.default_rng([seed, 2])
        )
        self.filament = Filament(
            self.truth.slip_onset_mm_min,
            self.truth.slip_steepness,
            np.random.default_rng([seed, 3]),
        )
        found = {"M92": dict(FACTORY["M92"]), "M852": {"I": self.truth.skew_found}}
        settings = Settings(found)
        self._true_steps = {
            a: settings.in_force["M92"][a] / (1 + self.truth.step_error[a]) for a in AXES
        }
        self.board = Controller(
            kind=kind,
            settings=settings,
            clock=clock,
            feed=self._push,
            feed_ratio=lambda: 1 + self._scale()["E"],
            identity=str(uuid.uuid5(uuid.NAMESPACE_OID, f"practice {kind.name} {seed}")),
        )
        self._as_found = self._errors()
        self.piece: PrintedPiece | None = None
        self._printed = 0
        self._revealed = False
        self.requests: dict[str, Callable[..., Any]] = {
            "mark": self.mark,
            "measure_remaining": self.measure_remaining,
            "detach": self.detach,
            "print": self.print_piece,
            "measure": self.measure,
            "measure_block": self.measure_block,
            "instrument": self.person.caliper.owner_knows,
            "power_cycle": self.power_cycle,
            "peek_heaters": self.peek_heaters,
            "peek_received": self.peek_received,
            "faults": self.faults,
            "reveal": self.reveal,
        }

    async def do(self, name: str, **arguments: Any) -> dict[str, Any]:
        """Do one request.

        Raises:
            CannotError: unknown, wrong arguments, or not possible now.
        """
        if name not in self.requests:
            raise CannotError(f"unknown request {name!r}; known: {', '.join(self.requests)}")
        if self._revealed and name not in ("reveal", "instrument") and not name.startswith("peek"):
            raise CannotError("the truth is out: nothing is measured or done after it")
        try:
            result = self.requests[name](**arguments)
            if isinstance(result, Awaitable):
                result = await result
        except (TypeError, ValueError, KeyError) as error:
            raise CannotError(f"{name}: {error}") from error
        except AsleftError as error:
            raise CannotError(error.message) from error
        return dict(result or {})

    # Filament

    def _push(self, motor_mm: float, rate_mm_min: float) -> None:
        melts = self.board.nozzle.read_c(self.clock.now_s()) >= self.board.modes.cold_below_c
        self.filament.push(motor_mm, rate_mm_min, melts=melts)

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
        return {"text": self.person.read_mark(self.filament.above_mm)}

    def detach(self, detached: bool) -> None:
        """Take the tube off the nozzle, or put it back: then a cold feed meets no melt."""
        self.filament.detached = bool(detached)

    def _settle(self) -> None:
        self.board.planner.settle(self.clock.now_s())

    # Piece

    async def print_piece(self, piece: str, parameters: dict[str, Any]) -> dict[str, float]:
        """Print from the memory card: own time passes, heaters and motors are off at the end."""
        if piece != "span":
            raise CannotError(f"no piece {piece!r} on the memory card")
        drawn = SpanPiece.from_dict(parameters)
        self._check_bed(drawn)
        if self.board.halted or self.board.booting:
            raise CannotError("the machine does not answer its buttons")
        if self.board.planner.until_done_s(self.clock.now_s()) > 0:
            raise CannotError("the machine is still moving")
        motion = self._errors()
        now, minutes = self.clock.now_s(), print_minutes(drawn)
        self.board.printing = True
        self.board.nozzle.aim(PRINT_NOZZLE_C, now)
        self.board.bed.aim(PRINT_BED_C, now)
        await self.clock.sleep(2.0)
        self.clock.skip(minutes * 60)
        self._end_print()
        self.clock.skip(COOLING_MINUTES * 60)
        self._printed += 1
        travel = self.kind.travel_mm
        seed = int(np.random.default_rng([self.seed, 4, self._printed]).integers(2**31))
        middle = (travel[0] / 2, travel[1] / 2)
        self.piece = PrintedPiece(drawn, motion, self.truth, middle, seed)
        return {"minutes": round(minutes, 1), "cooling_minutes": COOLING_MINUTES}

    def _check_bed(self, drawn: SpanPiece) -> None:
        xs, ys = zip(*drawn.outline_mm(), strict=True)
        height = max((drawn.post_height_mm, *drawn.column_heights_mm))
        sizes = (max(xs) - min(xs), max(ys) - min(ys), height)
        for axis, size, travel in zip("XYZ", sizes, self.kind.travel_mm, strict=True):
            if size > travel:
                raise CannotError(f"the piece is {size:.0f} mm in {axis}, the bed {travel:.0f} mm")

    def _end_print(self) -> None:
        """What the end of the file does; the mark on the filament went in with the print."""
        board, now = self.board, self.clock.now_s()
        board.nozzle.aim(0, now)
        board.bed.aim(0, now)
        board.planner.homed.clear()
        board.modes.absolute, board.modes.feed_absolute, board.modes.fan = True, False, 0
        board.printing = False
        self.filament.above_mm = None

    def measure(
        self, direction: str, faces: str, nominal_mm: float, label: str | None = None
    ) -> dict[str, str]:
        """Read one place of the last printed piece."""
        if self.piece is None:
            raise CannotError("nothing has been printed")
        place = self.piece.find(direction, faces, nominal_mm, label)
        if place is None:
            raise CannotError(f"no such place on the piece: {label or (direction, faces)}")
        flat = place.direction != "Z"
        sign = {"outside": 1, "inside": -1}.get(place.faces, 0)
        true = self.piece.distance_mm(place) - (sign * self.truth.jaw_bend_mm if flat else 0.0)
        if true > self.person.caliper.reach_mm + 2:
            raise CannotError(f"the caliper does not reach {place.nominal_mm:g} mm")
        text = self.person.read_distance(
            true,
            "depth" if place.faces == "same" else place.faces,
            tilt_mm=self.truth.jaw_tilt_mm if flat else 0.0,
            swap_mm=-2 * sign * self.piece.drawn.post_mm if flat else 0.0,
            label=place.label,
        )
        return {"text": text}

    def measure_block(self, length_mm: float, jaws: str = "outside") -> dict[str, str]:
        """Read a gauge block of known length, true as stated."""
        if not 0 < length_mm <= self.person.caliper.reach_mm:
            raise CannotError(f"the caliper does not reach {length_mm:g} mm")
        return {
            "text": self.person.read_distance(length_mm, jaws, tilt_mm=0, swap_mm=0, label="block")
        }

    # Machine

    async def power_cycle(self) -> None:
        """Switch off and on; done when it takes lines again."""
        await self.board.reset()
        await self.booted()

    async def booted(self) -> None:
        """Wait until the board takes lines."""
        while self.board.booting:
            await self.clock.sleep(0.1)

    def peek_heaters(self) -> dict[str, Any]:
        """Whether heaters are on, for tests of safety."""
        now, nozzle, bed = self.clock.now_s(), self.board.nozzle, self.board.bed
        return {
            "on": bool(nozzle.target_c or bed.target_c),
            "nozzle_target_c": nozzle.target_c,
            "bed_target_c": bed.target_c,
            "nozzle_c": round(nozzle.read_c(now), 1),
            "bed_c": round(bed.read_c(now), 1),
            "halted": self.board.halted,
            "printing": self.board.printing,
            "moving": self.board.planner.until_done_s(now) > 0,
            "cold_guard": self.board.modes.cold_guard,
        }

    def peek_received(self, last: int = 50) -> dict[str, Any]:
        """The last lines that came over the wire, with own time, for tests."""
        lines = list(self.board.received)[-last:] if last > 0 else []
        return {"lines": [{"own_s": round(t, 3), "text": text} for t, text in lines]}

    async def faults(self, **asked: Any) -> None:
        """Trouble on purpose: see `Faults`; and `drop`, `reset`, `printing`, `rises_c_s`,
        `lose_storage`, `misread_share`."""
        board = self.board
        for name, value in asked.items():
            if name in {f.name for f in fields(board.faults)}:
                setattr(board.faults, name, value)
            elif name == "drop":
                self.drop_line()
            elif name == "reset":
                await board.reset()
            elif name == "printing":
                board.printing = bool(value)
            elif name == "rises_c_s":
                board.nozzle.rises_c_s = float(value)
            elif name == "lose_storage":
                board.settings.storage_is_lost = bool(value)
            elif name == "misread_share":
                self.person.misread_share = float(value)
            else:
                raise CannotError(f"unknown fault {name!r}")

    drop_line: Callable[[], None] = staticmethod(lambda: None)

    # Truth

    def _scale(self) -> dict[str, float]:
        steps = self.board.settings.in_force["M92"]
        return {a: steps[a] / self._true_steps[a] - 1 for a in AXES}

    def _errors(self) -> MotionErrors:
        """The machine's errors with what is in force now.

        The controller moves X by x - k·y, so an active factor k takes k(1 + s_x)/(1 + s_y) off
        the shear.
        """
        scale = self._scale()
        factor = self.board.settings.in_force["M852"]["I"]
        shear = self.truth.shear - factor * (1 + scale["X"]) / (1 + scale["Y"])
        flow = self.board.modes.flow_percent / 100
        return MotionErrors(scale, shear, (1 + scale["E"]) * flow)

    def _told(self, errors: MotionErrors) -> dict[str, float]:
        return {
            **printed_scale(errors.scale, self.truth.shrinkage),
            "E": errors.scale["E"],
            "shear_xy": errors.shear,
        }

    def reveal(self) -> dict[str, Any]:
        """The hidden truth; nothing is measured after it."""
        self._revealed = True
        caliper = self.person.caliper
        return {
            "hidden": self._told(self._as_found),
            "residual": self._told(self._errors()),
            "truth": {
                **self.truth.to_dict(),
                "true_steps_per_mm": self._true_steps,
                "caliper_zero_mm": caliper.zero_mm,
                "caliper_scale": caliper.scale,
                "misreads": self.person.misreads,
            },
        }
