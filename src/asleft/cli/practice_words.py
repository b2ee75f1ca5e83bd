"""What a person's hands can do at a served practice machine, as typed words.

`mark 120`, `measure`, `print span`, `read X outside 107`, `off and on`. A bad word is
answered with the list; nothing here knows a hidden number.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

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
    if word == "mark" and len(rest) == 1:
        hands.ask("mark", marked_mm=parse_typed(rest[0], where="mark").value)
        return "marked"
    if word == "measure" and not rest:
        return str(hands.ask("measure_remaining")["text"])
    if word == "print" and rest[:1] == ["span"]:
        return _print(hands, rest[1:])
    if word == "read" and len(rest) in (3, 4):
        nominal = parse_typed(rest[2], where="read").value
        label = rest[3] if len(rest) == 4 else None
        reply = hands.ask(
            "measure", direction=rest[0].upper(), faces=rest[1], nominal_mm=nominal, label=label
        )
        return str(reply["text"])
    if word == "off":
        hands.ask("power_cycle")
        return "power was off and is on again"
    if word == "reveal":
        return json.dumps(hands.ask("reveal"), indent=1)
    raise InputError(f"{word!r} is no such thing", hint="Say " + ", ".join(w for w, _ in WORDS))


def _print(hands: Hands, rest: list[str]) -> str:
    from asleft.pieces import SpanPiece

    piece = SpanPiece(pitch_mm=parse_typed(rest[0], where="print").value) if rest else SpanPiece()
    reply = hands.ask("print", piece="span", parameters=piece.to_dict())
    return f"printed in {reply['minutes']:.0f} minutes of the machine's time"
