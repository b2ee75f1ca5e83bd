"""Kinds of practice machine that cannot do what others can, and a person who says what is so.

Whole evenings at every kind are a benchmark: `python -m benchmarks.practice 1 5 --as KIND`.
"""

from __future__ import annotations

from typing import Any

import pytest

from asleft.bench import Ask, Bench
from asleft.cli.change import change_lines
from asleft.cli.practice_file import FileOwner
from asleft.cli.practice_person import PracticePerson
from asleft.practice.hands import Hands


def nothing(*_: Any) -> None:
    """What a person says or sees is not looked at here."""


def test_help_lists_every_kind(cli):
    told = cli("practice", "--help").out
    assert all(kind in told for kind in ("crossed-belt", "delta", "report-per-tool", "no-storage"))
    assert cli("practice", "--unattended", "--as", "hovering").status == 2


def test_a_change_at_a_board_with_a_file_is_entered_by_hand_and_looked_at(tmp_path):
    """What is handed over goes into the file and outlasts power off and on."""
    with Hands(1, "report-config-file", 600) as hands:
        person = PracticePerson(hands, say=nothing, progress=nothing)
        with Bench(tmp_path, person, holder="a test", address=hands.address) as bench:
            owner = FileOwner(bench, hands)
            found = owner.found()
            steps = {"X": 80.0, "Y": 80.0, "Z": 400.0, "E": 93.0}
            assert found["steps_per_mm"] == steps and owner.left() == {}
            told = bench.set({"X": 80.1234, "E": 91.5}, from_findings=False, store=True)
            assert told["handed_over"] is True and told["verified"] is not True
            owner.enter("set", told)
            hands.ask("power_cycle")
            told = owner.left()
    assert told["by_hand"] is told["stored"] is told["survived_power_cycle"] is True
    # Travel is written with five decimals: 3200/80.1234 = 39.93840 mm, 3200/91.5 = 34.97268 mm.
    assert told["as_left"] == pytest.approx({**steps, "X": 80.1234, "E": 91.5}, rel=1e-6)


def test_a_board_that_stores_nothing_is_told_and_ends_with_1(cli):
    with Hands(1, "no-storage", 600) as hands:
        found = cli("found", "--port", hands.address).out
        assert "cannot store settings" in found and "not seen yet" not in found
        told = cli("set", "X=81", "--store", "--yes", "--port", hands.address, "--json")
        assert told.status == 1, told.err
        assert told.json["verified"] is True and told.json["stored"] is False
        assert "did not store" in told.json["reason"]
        assert told.json["by_hand"] == ["X in steps per mm: 81 instead of 80 (times 1.012500)"]
        said = "\n".join(change_lines(told.json))
        assert "in force and not stored" in said and "motor turn" not in said
        assert hands.ask("peek_settings")["in_force"]["M92"]["X"] == 81.0


def test_the_practice_person_says_what_is_so_and_not_yes_to_everything():
    with Hands(1, "delta", 600) as hands:
        person = PracticePerson(hands, say=nothing, progress=nothing)
        assert person.confirm(Ask("connect.replaced", "Is it the same machine?")) is False
        assert person.confirm(Ask("connect.hot", "Is it idle?")) is True
        hands.ask("faults", printing=True)
        assert person.confirm(Ask("connect.hot", "Is it idle?")) is False
        assert person.confirm(Ask("height.again", "Is that done?", action="set_height")) is True
