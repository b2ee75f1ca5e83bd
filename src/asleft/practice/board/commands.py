"""What each command does on the practice controller, apart from moves and heat.

Not for counting lines or for the queue: a handler gets one parsed command and the controller, and
the acknowledgement follows when it returns. `HANDLERS` is the whole list; what is not in it, or
not of this family, is unknown. Stands on `settings`, `telling` and the two rooms of handlers.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from typing import TYPE_CHECKING

from asleft.practice.board import heat_commands, motion_commands, telling
from asleft.practice.board.heat_commands import temperatures
from asleft.practice.words.settings import SHAPES
from asleft.practice.words.wire import Command

if TYPE_CHECKING:
    from asleft.practice.board.controller import Controller

__all__ = ["HANDLERS", "banner", "halt", "handler", "obey_urgent", "temperatures"]

LARGEST = 1e6
"""No setting is larger (ours)."""
MOST_TOOLS = 4

Handler = Callable[["Controller", Command], Awaitable[None] | None]


def banner(board: Controller) -> None:
    """Boot: load storage, then tell so."""
    loaded = board.settings.reload()
    board.say(board.dialect.start)
    board.say("echo: Practice controller 1, free memory 4102, planner buffer 1408")
    if loaded:
        for line in telling.stored(board, "Stored values in force"):
            board.say(line)
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
    board.heaters_off(now)
    if not board.halted:
        board.say(f"Error:Machine halted, restart needed ({why})")
    board.halted = True
    board.urgent.set()


def _setting(board: Controller, command: Command) -> None:
    """Set the values of one settings line; bare, tell them."""
    settings, code = board.settings, command.code
    if not command.words:
        for line in telling.setting_lines(settings, board.dialect, code):
            board.say(f"echo:  {line}")
        return
    words = dict(command.words)
    tool = None if "T" in settings.in_force[code] else words.pop("T", None)
    if tool and not tool < len(settings.tools):
        board.say(f"Error:no tool {tool:.0f}")
        return
    if tool and code == "M92" and "E" in words:
        words[settings.tools[int(tool)]] = words.pop("E")
    if any(abs(v or 0) > LARGEST for v in words.values()):
        board.say(f"Error:{code} out of range")
        return
    if code == "M92" and any(not (v or 0) > 0 for v in words.values()):
        board.say("Error:steps per unit must be above 0")
        return
    for letter in settings.set(code, words):
        board.say(f"echo:{code} has no {letter}")


def _towers(board: Controller, command: Command) -> None:
    """Arms and trims: the carriages are no longer where they were believed to be."""
    if command.words and not all((command.number(k) or 0) >= 0 for k in "LRH"):
        board.say("Error:arms, radius and height must be above 0")
        return
    _setting(board, command)
    if command.words:
        board.planner.homed.clear()


def _presets(board: Controller, command: Command) -> None:
    """`M145` has a slot number that is no value of its own."""
    _setting(board, Command(command.code, {k: v for k, v in command.words.items() if k != "S"}))


def _identify(board: Controller, _: Command) -> None:
    for line in telling.identity(board):
        board.say(line)


def _set_number(board: Controller, command: Command) -> None:
    number = command.number("N")
    if number is not None:
        board.counter.last = int(number)


def _card(board: Controller, _: Command) -> None:
    board.say("Card: printing byte 4096/262144" if board.printing else "Card: not printing")


def _store(board: Controller, _: Command) -> None:
    if board.dialect.storage == "none":
        board.say("Error:no memory to store in")
        return
    board.settings.store()
    for line in telling.stored(board, "Values stored"):
        board.say(line)


def _reload(board: Controller, command: Command) -> None:
    if board.dialect.storage == "none":
        board.say("Error:no memory to load from")
        return
    loaded = board.settings.reload()
    board.planner.homed.difference_update("XYZ" if board.kind.drive == "delta" else "")
    if not loaded:
        board.say("Error:nothing stored, factory settings in force")
    elif board.dialect.reload_tells == "line":
        for line in telling.stored(board, "Stored values in force"):
            board.say(line)
    elif board.dialect.reload_tells == "report":
        _report(board, command)


def _factory(board: Controller, _: Command) -> None:
    board.settings.forget()
    board.say("echo:Factory settings in force")


def _report(board: Controller, _: Command) -> None:
    lines = telling.report(board)
    lines, board.faults.cut_report = lines[: board.faults.cut_report or None], 0
    for line in lines:
        board.say(line)


def _units(board: Controller, command: Command) -> None:
    board.settings.inches = command.code == "G20"


async def _tool(board: Controller, command: Command) -> None:
    """Which extruder feeds from now on."""
    number = int(command.code[1:])
    if number >= len(board.settings.tools):
        board.say(f"Error:no tool {number}")
        return
    if await board.hold(lambda: board.planner.until_done_s(board.clock.now_s())):
        board.tool = number


def _nothing(_board: Controller, _command: Command) -> None:
    """Known, and obeyed ahead of the queue or without effect here."""


HANDLERS: Mapping[str, Handler] = {
    **dict.fromkeys(SHAPES, _setting),
    **heat_commands.HANDLERS,
    **motion_commands.HANDLERS,
    "M145": _presets,
    "M665": _towers,
    "M666": _towers,
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
    **{f"T{n}": _tool for n in range(MOST_TOOLS)},
}


def handler(board: Controller, command: Command) -> Handler | None:
    """What does a command on this board, or None where it is unknown to it."""
    code, dialect = command.code, board.dialect
    file_has = dialect.storage == "file" and code in ("M92", "M500", "M501", "M502")
    if file_has or (code == "M503" and dialect.report == "unknown"):
        return None
    if code in SHAPES and code not in board.settings.in_force:
        return None
    return HANDLERS.get(code)
