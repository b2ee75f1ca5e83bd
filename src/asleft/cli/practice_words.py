"""What a person's hands can do at a served practice machine, as typed words.

`mark 120`, `measure`, `print span`, `read X outside 107`, `off and on`. A bad word is
answered with the list; nothing here knows a hidden number.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING

from asleft.cli.practice_card import print_from_card
from asleft.errors import AsleftError, InputError
from asleft.units import parse_typed

if TYPE_CHECKING:
    from asleft.practice.hands import Hands

WORDS = (
    ("mark 120", "mark the filament 120 mm above where it enters"),
    ("measure", "measure what remains to the mark"),
    ("print span [PITCH]", "print the span piece of that pitch with the settings in force"),
    ("read X outside 107", "caliper on the piece: direction, faces, drawn size, and a place"),
    ("off and on", "switch the power off and on"),
    ("level", "level the bed and set the height, by hand"),
    ("file", "read the file on the board, where it has one"),
    ("enter X 80.1", "put steps per mm into that file and restart the board"),
    ("reveal", "what was hidden; nothing can be measured after it"),
)


def do(hands: Hands, text: str) -> str:
    """Do one thing and say what came of it."""
    word, *rest = text.split()
    try:
        return _do(hands, word.lower(), rest)
    except AsleftError as error:
        return error.message + (f" ({error.hint})" if error.hint else "")


def _do(hands: Hands, word: str, rest: list[str]) -> str:
    deed = _DEEDS.get((word, len(rest)))
    if word == "off":
        deed = _off
    if word == "print" and rest[:1] == ["span"]:
        return _print(hands, rest[1:])
    if deed is None:
        raise InputError(f"{word!r} is no such thing", hint="Say " + ", ".join(w for w, _ in WORDS))
    return deed(hands, rest)


def _mark(hands: Hands, rest: list[str]) -> str:
    hands.ask("mark", marked_mm=parse_typed(rest[0], where="mark").value)
    return "marked"


def _measure(hands: Hands, _: list[str]) -> str:
    return str(hands.ask("measure_remaining")["text"])


def _read(hands: Hands, rest: list[str]) -> str:
    nominal = parse_typed(rest[2], where="read").value
    label = rest[3] if len(rest) == 4 else None
    reply = hands.ask(
        "measure", direction=rest[0].upper(), faces=rest[1], nominal_mm=nominal, label=label
    )
    return str(reply["text"])


def _off(hands: Hands, _: list[str]) -> str:
    hands.ask("power_cycle")
    return "power was off and is on again"


def _level(hands: Hands, _: list[str]) -> str:
    hands.ask("level")
    return "level"


def _file(hands: Hands, _: list[str]) -> str:
    return "\n".join(hands.ask("read_file")["lines"])


def _enter(hands: Hands, rest: list[str]) -> str:
    steps = parse_typed(rest[1], where="enter").value
    hands.ask("edit_file", lines=[f"M92 {rest[0].upper()}{steps:f}"])
    return "entered, and the board restarted"


def _reveal(hands: Hands, _: list[str]) -> str:
    return json.dumps(hands.ask("reveal"), indent=1)


def _print(hands: Hands, rest: list[str]) -> str:
    from asleft.pieces import SpanPiece

    piece = SpanPiece(pitch_mm=parse_typed(rest[0], where="print").value) if rest else SpanPiece()
    reply = print_from_card(hands, {"piece": "span", "parameters": piece.to_dict()})
    return f"printed in {reply['minutes']:.0f} minutes of the machine's time"


_DEEDS: Mapping[tuple[str, int], Callable[[Hands, list[str]], str]] = {
    ("mark", 1): _mark,
    ("measure", 0): _measure,
    ("read", 3): _read,
    ("read", 4): _read,
    ("level", 0): _level,
    ("file", 0): _file,
    ("enter", 2): _enter,
    ("reveal", 0): _reveal,
}
