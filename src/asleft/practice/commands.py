"""What each command does on the practice controller, apart from moves and heat.

Not for counting lines or for the queue: a handler gets one parsed command and the controller, and
the acknowledgement follows when it returns. `HANDLERS` is the whole list; what is not in it is
unknown, and said so. Stands on `settings` and the two rooms of handlers beside it.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from typing import TYPE_CHECKING

from asleft.practice import heat_commands, motion_commands
from asleft.practice.heat_commands import temperatures
from asleft.practice.settings import SHAPES
from asleft.practice.wire import Command

if TYPE_CHECKING:
    from asleft.practice.controller import Controller

__all__ = ["HANDLERS", "banner", "halt", "obey_urgent", "temperatures"]

LARGEST = 1e6
"""No setting is larger (ours)."""

Handler = Callable[["Controller", Command], Awaitable[None] | None]


def banner(board: Controller) -> None:
    """Boot: load storage, then tell so."""
    stored = board.settings.reload()
    size, crc = board.settings.size_and_crc()
    board.say("start")
    board.say("echo: Practice controller 1, free memory 4102, planner buffer 1408")
    if stored:
        board.say(f"echo:Stored values in force ({size} bytes; crc {crc})")
    else:
        board.say("echo:Nothing stored, factory settings in force")


def obey_urgent(board: Controller, code: str) -> None:
    """Obey at once, ahead of everything that waits."""
    if code == "M112":
        halt(board, "emergency stop")
    elif code == "M410":
        board.planner.stop(board.clock.now_s())
    board.cuts.add(code)
    board.urgent.set()


def halt(board: Controller, why: str) -> None:
    """Heaters off, motion off, deaf until the next power cycle."""
    now = board.clock.now_s()
    board.planner.stop(now)
    board.planner.homed.clear()
    board.nozzle.aim(0, now)
    board.bed.aim(0, now)
    if not board.halted:
        board.say(f"Error:Machine halted, restart needed ({why})")
    board.halted = True
    board.urgent.set()


def _setting(board: Controller, command: Command) -> None:
    """Set the values of one settings line; bare, tell them."""
    if not command.words:
        board.say(f"echo:  {board.settings.line(command.code)}")
        return
    words = dict(command.words)
    if "T" not in board.settings.in_force[command.code]:  # elsewhere T is a tool, and there is one
        tool = words.pop("T", None)
        if tool:
            board.say(f"Error:no tool {tool:.0f}")
            return
    if any(abs(v or 0) > LARGEST for v in words.values()):
        board.say(f"Error:{command.code} out of range")
        return
    if command.code == "M92" and any(not (v or 0) > 0 for v in words.values()):
        board.say("Error:steps per unit must be above 0")
        return
    for letter in board.settings.set(command.code, words):
        board.say(f"echo:{command.code} has no {letter}")


def _presets(board: Controller, command: Command) -> None:
    """`M145` has a slot number that is no value of its own."""
    _setting(board, Command(command.code, {k: v for k, v in command.words.items() if k != "S"}))


def _identify(board: Controller, _: Command) -> None:
    board.say(f"BOARD:Practice controller 1 MACHINE:Workshop bench TOOLS:1 UUID:{board.identity}")
    board.say("Cap:EEPROM:1")  # whether it can store: what a client must know


def _set_number(board: Controller, command: Command) -> None:
    number = command.number("N")
    if number is not None:
        board.counter.last = int(number)


def _card(board: Controller, _: Command) -> None:
    board.say("Card: printing byte 4096/262144" if board.printing else "Card: not printing")


def _store(board: Controller, _: Command) -> None:
    size, crc = board.settings.store()
    board.say(f"echo:Values stored ({size} bytes; crc {crc})")


def _reload(board: Controller, _: Command) -> None:
    stored = board.settings.reload()
    size, crc = board.settings.size_and_crc()
    if stored:
        board.say(f"echo:Stored values in force ({size} bytes; crc {crc})")
    else:
        board.say("Error:nothing stored, factory settings in force")


def _factory(board: Controller, _: Command) -> None:
    board.settings.factory()
    board.say("echo:Factory settings in force")


def _report(board: Controller, _: Command) -> None:
    lines = board.kind.report(board.settings)
    lines, board.faults.cut_report = lines[: board.faults.cut_report or None], 0
    for line in lines:
        board.say(line)


def _units(board: Controller, command: Command) -> None:
    board.settings.inches = command.code == "G20"


def _nothing(_board: Controller, _command: Command) -> None:
    """Known, and obeyed ahead of the queue or without effect here."""


HANDLERS: Mapping[str, Handler] = {
    **dict.fromkeys(SHAPES, _setting),
    **heat_commands.HANDLERS,
    **motion_commands.HANDLERS,
    "M145": _presets,
    "M115": _identify,
    "M110": _set_number,
    "M27": _card,
    "M500": _store,
    "M501": _reload,
    "M502": _factory,
    "M503": _report,
    "G20": _units,
    "G21": _units,
    "M108": _nothing,
    "M112": _nothing,
    "M410": _nothing,
    "M117": _nothing,
    "T0": _nothing,
}
