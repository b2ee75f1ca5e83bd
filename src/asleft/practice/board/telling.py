"""What the controller says of itself, in the words of its family.

Settings, the whole report, who it is, its acknowledgements. Not for obeying: handlers call these
and say the lines. Stands on `dialect` and `settings`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from asleft.practice.body.motion import QUEUE_LENGTH
from asleft.practice.words.board_file import file_lines
from asleft.practice.words.settings import SHAPES, Settings

if TYPE_CHECKING:
    from asleft.practice.board.controller import Controller
    from asleft.practice.words.dialect import Dialect

FREE_LINES = 3
"""Lines that a board says it can still take, where it says so (ours)."""


def acknowledgement(board: Controller) -> str:
    """`ok`, with what this family puts behind it."""
    fields, number = ["ok"], board.counter.taken
    if board.dialect.counts:
        fields += [f"N{number}"] if number is not None else []
        fields += [f"P{QUEUE_LENGTH - 1}", f"B{FREE_LINES}"]
    return " ".join([*fields, board.tail]).rstrip()


def let_out(board: Controller, held: list[str], *, behind: bool) -> None:
    """Say an answer: one line goes behind the acknowledgement where the family has it so."""
    if behind and len(held) == 1 and not board.tail:
        board.tail = held[0].removeprefix("echo:").strip()
        return
    if board.tail and not behind:
        held = [*held, board.tail]
        board.tail = ""
    for line in held:
        board.say(line)


def setting_lines(settings: Settings, dialect: Dialect, code: str) -> list[str]:
    """One setting as it stands in a report, without prefix: `M92 X80.00 Y80.00 …`."""
    words = {k: _number(settings, dialect, code, v) for k, v in settings.told(code).items()}
    if code != "M92":
        return [_joined(code, words)]
    if dialect.steps == "labelled":
        pairs = (f"{name}: {value}" for name, value in words.items())
        return [f"Steps per unit: {', '.join(pairs)}"]
    tools = [words.pop(name) for name in settings.tools]
    if dialect.steps == "per-tool":
        return [_joined(code, words), *(f"{code} T{n} E{value}" for n, value in enumerate(tools))]
    colon = ":" if dialect.steps == "colon-list" else ""
    return [_joined(code + colon, {**words, "E": ":".join(tools)})]


def report(board: Controller) -> list[str]:
    """The answer to M503."""
    if board.dialect.report == "file":
        return file_lines(board.settings)
    settings, dialect = board.settings, board.dialect
    lines = [
        "echo:; Units and everything in force",
        f"echo:  {'G20' if settings.inches else 'G21'}",
    ]
    for code in settings.in_force:
        lines.append(f"echo:; {SHAPES[code].heading}:")
        if dialect.old_values and code == "M92":
            lines += ["; M92 X79.5 Y79.5 Z398 E91", "; kept from before the belts were changed"]
        lines += [f"echo:  {line}" for line in setting_lines(settings, dialect, code)]
    lines.append("echo:Door switch: not fitted")
    return lines


def identity(board: Controller) -> list[str]:
    """The answer to M115."""
    fields = {
        "BOARD": "Practice controller 1",
        "MACHINE": f"Workshop bench {board.kind.name}",
        "TOOLS": str(board.dialect.tools),
        "UUID": board.identity,
    }
    commas = board.dialect.identity == "commas"
    line = (", " if commas else " ").join(f"{name}:{value}" for name, value in fields.items())
    if commas or "M115" in board.dialect.behind_ok:
        return [line]
    return [line, f"Cap:EEPROM:{int(board.dialect.storage == 'memory')}"]


def stored(board: Controller, what: str) -> list[str]:
    """That something was stored or loaded, with its size."""
    if not board.dialect.says_stored:
        return []
    size, crc = board.settings.size_and_crc()
    return [f"echo:{what} ({size} bytes; crc {crc})"]


def _joined(code: str, words: dict[str, str]) -> str:
    return " ".join((code, *(name + value for name, value in words.items())))


def _number(settings: Settings, dialect: Dialect, code: str, value: float) -> str:
    decimals = SHAPES[code].decimals
    if dialect.decimals is not None and (decimals == 2 or dialect.inches):
        decimals = max(decimals, dialect.decimals)
    text = f"{value:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if dialect.trims and "." in text else text
