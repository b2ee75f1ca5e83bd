"""What `asleft practice` prints: the evening's summary, and how to use a served machine.

Words and tables only; what stands in them was found by `bench` and revealed by the practice
machine. Stands on `wording`.
"""

from __future__ import annotations

from typing import Any

from asleft.cli.practice_words import WORDS
from asleft.cli.wording import many, table, wrapped

_PERCENT = ("X", "Y", "Z", "E")
_ARMS = (("L", "arm length mm"), ("R", "radius mm"))


def evening_lines(told: dict[str, Any]) -> list[str]:
    """The hidden truth beside what was found and left, and where the record is."""
    return [
        f"Practice machine, {told['kind']}, seed {told['seed']}",
        "",
        *table(_rows(told), right=frozenset({1, 2, 3, 4})),
        "",
        *wrapped(f"What is within tolerance ({_tolerances()}) was left alone."),
        "",
        f"Stored: {_yes(told['stored'])}."
        f"  Survived power off and on: {_yes(told['survived_power_cycle'])}."
        f"  Second piece as foretold: {_yes(told['proved'])}.",
        *(
            ["Steps stand in a file on the board: its owner entered them and looked again."]
            if told["by_hand"]
            else []
        ),
        *wrapped(f"Proof: {told['proof']['reason']}."),
        f"{many(told['readings'], 'reading')}, {many(told['commands'], 'command')} on the line.",
        f"Record: {told['record']}",
    ]


def _rows(told: dict[str, Any]) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = [("", "as found", "as left", "error hidden", "error left")]
    for name in _PERCENT:
        rows.append(
            (
                f"{name} steps/mm",
                *_found_and_left(told, name, 2),
                f"{told['hidden'][name] * 100:+.3f} %",
                f"{told['residual'][name] * 100:+.3f} %",
            )
        )
    for name, words in _ARMS:
        if name in told["as_found"]:
            rows.append((words, *_found_and_left(told, name, 3), "", ""))
    rows.append(
        (
            "skew XY",
            *_found_and_left(told, "XY", 5),
            f"{told['hidden']['shear_xy'] * 1e3:+.2f} mrad",
            f"{told['residual']['shear_xy'] * 1e3:+.2f} mrad",
        )
    )
    return rows


def _found_and_left(told: dict[str, Any], name: str, decimals: int) -> tuple[str, str]:
    """The values of a setting before and after; a dash where the machine holds none."""
    named = f"{name}0" if f"{name}0" in told["as_found"] else name
    values = (told[when].get(named) for when in ("as_found", "as_left"))
    found, left = ("-" if value is None else f"{value:.{decimals}f}" for value in values)
    return found, left


def served_lines(hello: dict[str, Any]) -> list[str]:
    """How to reach a served machine, and the words for its owner's hands."""
    return [
        f"This is practice machine {hello['kind']} {hello['seed']}. In another terminal, give the"
        " address above",
        "with --port to any command. Here you are its owner's hands:",
        *table(WORDS),
        "End with Ctrl-D or Ctrl-C.",
    ]


def _tolerances() -> str:
    """The bounds within which an error is left alone, in words."""
    from asleft.measure import Tolerance

    t = Tolerance()
    return f"scale {t.scale:.1%}, feed {t.feed:.0%}, shear {t.shear * 1e3:g} mrad"


def _yes(answer: bool) -> str:
    return "yes" if answer else "NO"
