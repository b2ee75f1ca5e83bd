"""Commands that move, or say where things stand, on the practice controller.

Refuses what a real one refuses: a move before homing, a target outside the travel, cold feeding.
Not for how long a move takes: that is `motion`. Stands on `wire`, `motion` and the controller.
"""

from __future__ import annotations

import math
from collections.abc import Awaitable, Callable, Mapping
from typing import TYPE_CHECKING

from asleft.practice.body.motion import AXES, Position
from asleft.practice.words.settings import MM_PER_INCH
from asleft.practice.words.wire import Command

if TYPE_CHECKING:
    from asleft.practice.board.controller import Controller

HOMING_S_PER_AXIS = 8.0


def _target(board: Controller, command: Command) -> Position:
    """Where a move would end, in mm of the machine."""
    modes, unit = board.modes, MM_PER_INCH if board.settings.inches else 1.0
    end = dict(board.planner.planned)
    for axis in AXES:
        value = command.number(axis)
        if value is None:
            continue
        absolute = modes.feed_absolute if axis == "E" else modes.absolute
        end[axis] = value * unit + (modes.offset_mm[axis] if absolute else end[axis])
    return end


def _refusal(board: Controller, end: Position) -> str | None:
    """Why a move is not made, or None."""
    planner, now = board.planner, board.clock.now_s()
    moving = [a for a in "XYZ" if end[a] != planner.planned[a]]
    unknown = [a for a in moving if a not in planner.homed]
    if unknown:
        return f"Error:not homed: {' '.join(unknown)}"
    kind = board.kind
    for axis, low, travel in zip("XYZ", kind.lowest_mm, kind.travel_mm, strict=True):
        if axis in moving and not low - 1e-6 <= end[axis] <= low + travel + 1e-6:
            within = f"{low:.0f} to {low + travel:.0f}"
            return f"Error:{axis}{end[axis]:.2f} is outside the travel {within}, not moved"
    cold = board.nozzles[board.tool].read_c(now) < board.modes.cold_below_c
    if end["E"] != planner.planned["E"] and board.modes.cold_guard and cold:
        return "echo:cold extrusion refused"
    return None


def plan_move(board: Controller, command: Command) -> Callable[[], None] | None:
    """Read a move and hold it against everything that is refused, which is said.

    Returns:
        What puts it into the queue, once there is room; None where nothing is to be done.
    """
    modes, planner = board.modes, board.planner
    rate = command.number("F")
    if rate is not None and rate > 0:
        modes.rate_mm_min = rate * (MM_PER_INCH if board.settings.inches else 1.0)
    end = _target(board, command)
    refusal = _refusal(board, end)
    if refusal is not None:
        board.refuse(refusal)
        # A refused feed counts as done for the position, a refused move does not.
        planner.planned["E"] = end["E"] if "cold" in refusal else planner.planned["E"]
        return None
    if end == planner.planned:
        return None

    def put() -> None:
        highest = board.settings.in_force["M203"]
        rates = {a: max(1e-3, highest[a]) for a in AXES}
        rates["F"] = modes.rate_mm_min / 60 * modes.speed_percent / 100
        motor_mm = (end["E"] - planner.planned["E"]) * modes.flow_percent / 100
        if motor_mm:
            motor_mm *= _per_volume(board) * board.feed_ratio()
        planner.queue(end, rates, motor_mm, board.clock.now_s())

    return put


async def _move(board: Controller, command: Command) -> None:
    put = plan_move(board, command)
    if put is None:
        return
    if await board.hold(lambda: board.planner.until_room_s(board.clock.now_s())):
        put()


def _per_volume(board: Controller) -> float:
    """With volumetric feeding E is mm³: length for each mm³, else 1."""
    volumetric = board.settings.in_force["M200"]
    if not volumetric["S"] or not volumetric["D"]:
        return 1.0
    return 1 / (math.pi / 4 * volumetric["D"] ** 2)


async def _home(board: Controller, command: Command) -> None:
    axes = [a for a in "XYZ" if a in command.words] or list("XYZ")
    axes = list("XYZ") if board.kind.drive == "delta" else axes
    await _finish(board, command)
    end = board.clock.now_s() + HOMING_S_PER_AXIS * len(axes)
    if not await board.hold(lambda: end - board.clock.now_s()):
        return
    home_mm = board.kind.home_mm(board.settings.in_force)
    for axis in axes:
        board.planner.planned[axis] = home_mm[axis]
        board.modes.offset_mm[axis] = 0.0
    board.planner.homed.update(axes)
    if set(axes) == set("XYZ"):
        board.planner.emptied()


async def _finish(board: Controller, _: Command) -> None:
    await board.hold(lambda: board.planner.until_done_s(board.clock.now_s()))


async def _dwell(board: Controller, command: Command) -> None:
    """`G4`: stand still for `S` seconds or `P` milliseconds after the last move."""
    await _finish(board, command)
    seconds = command.number("S")
    seconds = (command.number("P") or 0.0) / 1000 if seconds is None else seconds
    end = board.clock.now_s() + seconds
    await board.hold(lambda: end - board.clock.now_s())


def _mode(board: Controller, command: Command) -> None:
    modes = board.modes
    if command.code in ("G90", "G91"):
        modes.absolute = modes.feed_absolute = command.code == "G90"
    else:
        modes.feed_absolute = command.code == "M82"


def _call_it(board: Controller, command: Command) -> None:
    """`G92`: call the present place by other numbers; all axes 0 where none is named."""
    unit = MM_PER_INCH if board.settings.inches else 1.0
    named = {a: v * unit for a in AXES if (v := command.number(a)) is not None}
    for axis, value in (named or dict.fromkeys(AXES, 0.0)).items():
        board.modes.offset_mm[axis] = board.planner.planned[axis] - value


async def _motors_off(board: Controller, command: Command) -> None:
    await _finish(board, command)
    named = [a for a in "XYZ" if a in command.words]
    board.planner.homed.difference_update(named or "XYZ")


def _where(board: Controller, _: Command) -> None:
    at, steps = board.planner.position(board.clock.now_s()), board.settings.in_force["M92"]
    unit = MM_PER_INCH if board.settings.inches else 1.0
    told = " ".join(f"{a}:{(at[a] - board.modes.offset_mm[a]) / unit:.2f}" for a in AXES)
    board.say(f"{told} Count " + " ".join(f"{a}:{at[a] * steps[a]:.0f}" for a in "XYZ"))


def _override(board: Controller, command: Command) -> None:
    speed = command.code == "M220"
    percent = command.number("S")
    if percent is None:
        now = board.modes.speed_percent if speed else board.modes.flow_percent
        board.say(f"echo:{command.code} S{now:.0f}")
    elif speed:
        board.modes.speed_percent = min(999.0, max(10.0, percent))
    else:
        board.modes.flow_percent = min(999.0, max(10.0, percent))


HANDLERS: Mapping[str, Callable[[Controller, Command], Awaitable[None] | None]] = {
    "G0": _move,
    "G1": _move,
    "G4": _dwell,
    "G28": _home,
    "G90": _mode,
    "G91": _mode,
    "M82": _mode,
    "M83": _mode,
    "G92": _call_it,
    "M400": _finish,
    "M18": _motors_off,
    "M84": _motors_off,
    "M114": _where,
    "M220": _override,
    "M221": _override,
}
