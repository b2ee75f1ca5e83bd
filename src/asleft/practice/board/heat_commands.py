"""Commands for heaters, fan and temperature reports of the practice controller.

Not for how things warm: that is `heat`. Targets beyond the controller's own limit are cut down,
and it says so. Stands on `wire` and the controller passed in.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from typing import TYPE_CHECKING

from asleft.practice.body.heat import Heater
from asleft.practice.words.wire import Command

if TYPE_CHECKING:
    from asleft.practice.board.controller import Controller


def temperatures(board: Controller) -> str:
    """`T:198.6 /205.0 B:54.9 /55.0 @:61 B@:12`."""
    now = board.clock.now_s()
    nozzle, bed = board.nozzles[board.tool], board.bed
    told = [("T", nozzle), ("B", bed)]
    if len(board.nozzles) > 1:
        told += [(f"T{n}", each) for n, each in enumerate(board.nozzles)]
    sensors = (f"{name}:{one.read_c(now):.1f} /{one.target_c:.1f}" for name, one in told)
    return f"{' '.join(sensors)} @:{nozzle.power()} B@:{bed.power()}"


def _nozzle(board: Controller, command: Command) -> Heater | None:
    """The nozzle that `T` names, else that of the active tool; None, and said so, for no tool."""
    named = command.number("T")
    tool = board.tool if named is None else int(named)
    if not 0 <= tool < len(board.nozzles):
        board.refuse(f"Error:no tool {tool}")
        return None
    return board.nozzles[tool]


def _tell(board: Controller, _: Command) -> None:
    board.tail = temperatures(board)


def _aim(board: Controller, heater: Heater, celsius: float) -> None:
    became = heater.aim(celsius, board.clock.now_s())
    if became != celsius:
        board.refuse(f"echo:target held to {became:.0f}")


def _set(board: Controller, heater: Heater, command: Command) -> None:
    """`S` heats; `R` of the waiting forms waits for cooling as well."""
    celsius = command.number("S")
    celsius = command.number("R") if celsius is None else celsius
    if celsius is not None:
        _aim(board, heater, celsius)


def _set_nozzle(board: Controller, command: Command) -> None:
    nozzle = _nozzle(board, command)
    if nozzle is not None:
        _set(board, nozzle, command)


def _set_bed(board: Controller, command: Command) -> None:
    _set(board, board.bed, command)


async def _wait(board: Controller, heater: Heater, command: Command) -> None:
    _set(board, heater, command)
    cooling_too = command.number("S") is None

    def left() -> float:
        done = heater.reached(board.clock.now_s(), cooling_too=cooling_too)
        return 0.0 if done else 1.0

    await board.hold(left, cut_by="M108", tell=lambda: board.say(f" {temperatures(board)} W:?"))


async def _wait_nozzle(board: Controller, command: Command) -> None:
    nozzle = _nozzle(board, command)
    if nozzle is not None:
        await _wait(board, nozzle, command)


async def _wait_bed(board: Controller, command: Command) -> None:
    await _wait(board, board.bed, command)


def _fan(board: Controller, command: Command) -> None:
    speed = command.number("S")
    on = 255 if speed is None else int(min(255, max(0, speed)))
    board.modes.fan = on if command.code == "M106" else 0


def _reports(board: Controller, command: Command) -> None:
    board.modes.report_every_s = min(60.0, max(0.0, command.number("S") or 0.0))


def _guard(board: Controller, command: Command) -> None:
    """Cold-feed guard: `P1` takes it away, `P0` puts it back, `S` says below what."""
    modes = board.modes
    if not command.words:
        board.say(f"echo:M302 P{0 if modes.cold_guard else 1} S{modes.cold_below_c:.0f}")
        return
    below = command.number("S")
    if below is not None:
        modes.cold_below_c = below
        modes.cold_guard = below > 0
    allow = command.number("P")
    if allow is not None:
        modes.cold_guard = not allow


HANDLERS: Mapping[str, Callable[[Controller, Command], Awaitable[None] | None]] = {
    "M104": _set_nozzle,
    "M109": _wait_nozzle,
    "M140": _set_bed,
    "M190": _wait_bed,
    "M105": _tell,
    "M106": _fan,
    "M107": _fan,
    "M155": _reports,
    "M302": _guard,
}
