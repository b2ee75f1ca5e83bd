"""The evening with one's own machine, done as it is written, by the hands of a practice one."""

from __future__ import annotations

import re
import shlex

import pytest

from asleft.cli.practice_card import print_from_card
from asleft.pieces import SpanPiece, stiffened
from asleft.practice.hands import Hands

ADDRESS_SHOWN = "socket://127.0.0.1:40123"
ANSWERED = re.compile(r"\n  \[[a-z ]+\] .+\n")
PLACE = re.compile(r": place (\d+): ")


class Owner:
    """What a person does when asked: marks, measures, prints, switches off and on."""

    def __init__(self, hands: Hands, piece: SpanPiece) -> None:
        self._hands, self._piece = hands, piece
        self._places = {place.label: place for place in piece.places()}

    def __call__(self, screen: str) -> str:
        asked = ANSWERED.split(screen)[-1]
        if asked.rstrip().endswith("[mm]"):
            return str(self._measured(asked)["text"])
        if "Mark the filament" in asked:
            self._hands.ask("mark", marked_mm=120.0)
        elif "Print the piece" in asked:
            print_from_card(self._hands, {"piece": "span", "parameters": self._piece.to_dict()})
        elif "its own switch" in asked:
            self._hands.ask("power_cycle")
        return "yes"

    def _measured(self, asked: str) -> dict[str, object]:
        found = PLACE.search(asked)
        if found is None:
            return self._hands.ask("measure_remaining")
        place = self._places[found[1]]
        where = {"direction": place.direction, "faces": place.faces, "label": place.label}
        return self._hands.ask("measure", nominal_mm=place.nominal_mm, **where)


@pytest.mark.timeout(120)  # two pieces are printed and read
def test_the_evening_comes_out_as_the_page_shows(page, same, shell):
    with Hands(12, speed=2000) as hands:
        owner = Owner(hands, stiffened(SpanPiece(column_heights_mm=())))
        for block in page("own-machine.md"):
            if not block.info.startswith("console"):
                continue
            for step in block.text.split("$ ")[1:]:
                command, _, shown = step.partition("\n")
                words = shlex.split(command.replace(ADDRESS_SHOWN, hands.address))[1:]
                person = owner if block.info == "console at the machine" else None
                status, out, err = shell(*words, person=person)
                assert status == 0, f"{command}\n{out}{err}"
                if person:  # a piece is never quite the same once its path was bettered
                    shown = re.sub(r"\d+\.\d+", "…", shown)
                same(shown, out, f"own-machine.md:{block.line}, {command}")
