"""What a person's hands can do at a served practice machine, as typed words.

`mark 120`, `measure`, `print span`, `read 7`, `off and on`. A bad word is answered with what
it wants, or with the list; nothing here knows a hidden number.
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
    ("print bead", "print the ring of the bead trial"),
    ("print fit 8", "print bores and pins round a shaft or bearing of that size"),
    ("take bead", "only after printing over the line, take it off: span, bead, or fit 8"),
    ("read 7", "caliper at place 7 of the drawing: span piece or ring"),
    ("read X outside 107", "the same by direction, faces and drawn size"),
    ("wall 0.65", "caliper on the ring's wall, at the band drawn so wide"),
    ("weigh", "the ring on a small balance"),
    ("try bore 8.1 8", "your own 8 mm shaft in the bore drawn so; or try pin"),
    ("set up X", "the caliper along X, touching the carriage, and zero it"),
    ("travel X", "how far X is from there"),
    ("block 50", "caliper on a gauge block of that length"),
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
    if word in ("print", "take") and rest:
        return _piece(hands, word, rest)
    if deed is None:
        alike = [words for words, _ in WORDS if words.split()[0] == word]
        if alike:
            raise InputError(f"{word} what?", hint="Say " + " or ".join(alike) + ".")
        raise InputError(f"{word!r} is no such thing", hint="Say " + ", ".join(w for w, _ in WORDS))
    return deed(hands, rest)


def _mark(hands: Hands, rest: list[str]) -> str:
    hands.ask("mark", marked_mm=parse_typed(rest[0], where="mark").value)
    return "marked"


def _measure(hands: Hands, _: list[str]) -> str:
    return str(hands.ask("measure_remaining")["text"])


def _read_place(hands: Hands, rest: list[str]) -> str:
    return str(hands.ask("measure_place", label=rest[0])["text"])


def _read(hands: Hands, rest: list[str]) -> str:
    nominal = parse_typed(rest[2], where="read").value
    reply = hands.ask("measure", direction=rest[0].upper(), faces=rest[1], nominal_mm=nominal)
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


def _piece(hands: Hands, word: str, rest: list[str]) -> str:
    """Print a default piece, or take it off the bed; a number is its pitch or the part's size."""
    from asleft.pieces import BeadPiece, FitPiece, SpanPiece

    kind, *sizes = rest
    number = parse_typed(sizes[0], where=word).value if sizes else None
    piece: SpanPiece | BeadPiece | FitPiece
    if kind == "fit" and number is not None:
        piece = FitPiece(gauge_mm=number)
    elif kind == "bead" and number is None:
        piece = BeadPiece()
    elif kind == "span":
        piece = SpanPiece() if number is None else SpanPiece(pitch_mm=number)
    else:
        raise InputError(f"{word} what?", hint="span, bead, or fit with the size of your own part.")
    if word == "take":
        hands.ask("take_off", piece=kind, parameters=piece.to_dict())
        return "off the bed and cold"
    reply = print_from_card(hands, {"piece": kind, "parameters": piece.to_dict()})
    refused = "".join(f"; refused: {line}" for line in reply["refused"])
    return f"printed in {reply['minutes']:.0f} minutes of the machine's time{refused}"


def _wall(hands: Hands, rest: list[str]) -> str:
    width_mm = parse_typed(rest[0], where="wall").value
    return str(hands.ask("measure_bead", drawn_width_mm=width_mm)["text"])


def _weigh(hands: Hands, _: list[str]) -> str:
    return str(hands.ask("weigh")["text"])


def _try(hands: Hands, rest: list[str]) -> str:
    drawn_mm, gauge_mm = (parse_typed(text, where="try").value for text in rest[1:])
    body = {"kind": rest[0].lower(), "drawn_mm": drawn_mm, "gauge_mm": gauge_mm}
    return str(hands.ask("try_fit", **body)["outcome"])


def _set_up(hands: Hands, rest: list[str]) -> str:
    hands.ask("mount", axis=rest[1].upper())
    return "set up and zeroed"


def _travel(hands: Hands, rest: list[str]) -> str:
    return str(hands.ask("measure_carriage", axis=rest[0].upper())["text"])


def _block(hands: Hands, rest: list[str]) -> str:
    length_mm = parse_typed(rest[0], where="block").value
    return str(hands.ask("measure_block", length_mm=length_mm)["text"])


_DEEDS: Mapping[tuple[str, int], Callable[[Hands, list[str]], str]] = {
    ("mark", 1): _mark,
    ("measure", 0): _measure,
    ("read", 1): _read_place,
    ("read", 3): _read,
    ("wall", 1): _wall,
    ("weigh", 0): _weigh,
    ("try", 3): _try,
    ("set", 2): _set_up,
    ("travel", 1): _travel,
    ("block", 1): _block,
    ("level", 0): _level,
    ("file", 0): _file,
    ("enter", 2): _enter,
    ("reveal", 0): _reveal,
}
