"""Findings in words: units beside every number, digits that the uncertainty supports."""

from __future__ import annotations

import pytest

from asleft.cli.change import change_lines, tell_change
from asleft.cli.finding import proposal_lines, quantity_table, result_lines
from asleft.cli.session import Session
from asleft.cli.wording import duration, plain, table, wrapped


def quantity(name="printed_scale", value=0.002344, u=0.00021, unit="1", **more):
    half = 2 * u if u is not None else None
    known = half is not None and value is not None
    return {
        "name": name,
        "value": value,
        "u": u,
        "low95": value - half if known else None,
        "high95": value + half if known else None,
        "unit": unit,
        "axis": "X",
        "plane": None,
        "reason": None,
        **more,
    }


def proposal(**more):
    return {
        "setting": "steps_per_mm",
        "axis": "X",
        "place": "controller",
        "in_force": 80.0,
        "proposed": 79.8128,
        "u": 0.017,
        "verdict": "adjust",
        "provisional": False,
        "p_within_tolerance": 0.0,
        "p_after": 0.99,
        "reason": "the error is larger than its interval",
        **more,
    }


def test_a_scale_error_is_in_per_cent_with_two_digits_of_its_uncertainty():
    (row,) = quantity_table([quantity()])
    assert " ".join(row.split()) == "printed scale X +0.234 % +0.192 to +0.276 %"


@pytest.mark.parametrize(
    ("unit", "value", "u", "shown"),
    [
        ("mm", 0.1083, 0.012, "+0.108 mm"),
        ("rad", 0.00213, 0.0004, "+2.13 mrad"),
        ("1", 1.0512, 0.0011, "105.12 %"),
    ],
)
def test_each_unit_as_the_trade_says_it(unit, value, u, shown):
    name = {"mm": "growth", "rad": "shear", "1": "fed_ratio"}[unit]
    (row,) = quantity_table([quantity(name=name, value=value, u=u, unit=unit)])
    assert f"  {shown}  " in row


def test_an_unknown_is_told_with_its_reason_and_never_as_0():
    unknown = quantity(name="shrinkage", value=None, u=None, reason="span alone cannot tell it")
    result = {"quantities": [unknown], "proposals": [], "set_aside": [], "warnings": []}
    text = "\n".join(result_lines(result))
    assert "Not known: shrinkage X. Span alone cannot tell it." in text
    assert "0.0" not in text
    (row,) = quantity_table([quantity(u=None)])
    assert row.endswith("not known")


def test_what_is_set_aside_is_shown_with_row_reading_and_reason():
    result = {
        "quantities": [quantity()],
        "proposals": [proposal()],
        "set_aside": [{"row": 7, "reading_mm": 108.07, "why": "1 mm from all others"}],
        "warnings": ["the bed was warm"],
    }
    text = "\n".join(result_lines(result))
    assert "row 7, 108.07 mm: 1 mm from all others" in text
    assert "Mind: The bed was warm." in text
    assert all(len(line) <= 80 for line in text.splitlines())


@pytest.mark.parametrize(
    ("verdict", "words"),
    [
        ("leave", "leave it as it is"),
        ("adjust", "adjust it"),
        ("inspect", "look at the hardware first"),
        ("measure_more", "measure more before deciding"),
    ],
)
def test_verdicts_in_words_and_values_only_where_there_is_something_to_do(verdict, words):
    text = "\n".join(proposal_lines(proposal(verdict=verdict)))
    assert words in text
    assert ("79.813 steps/mm" in text) is (verdict == "adjust")


def change(**more):
    return {
        "schema": "asleft.set/1",
        "before": {"X": 80.0, "XY": 0.0},
        "sent": ["M92 X79.81"],
        "read_back": {"X": 79.81, "XY": 0.0},
        "verified": True,
        "stored": None,
        "from_storage": None,
        "survived_power_cycle": None,
        "by_hand": [],
        "handed_over": False,
        "predicted": [],
        "chi2": None,
        "dof": None,
        "p": None,
        "reason": None,
        "kept_before": 1,
        "kept_after": 2,
        "warnings": [],
        **more,
    }


def test_a_change_shows_both_sides_with_units():
    text = "\n".join(change_lines(change()))
    row = next(line for line in text.splitlines() if line.strip().startswith("X "))
    assert row.split() == ["X", "80", "steps/mm", "79.81", "steps/mm", "changed"]
    assert "M92 X79.81" in text and "kept as state 2" in text


@pytest.mark.parametrize(
    ("more", "status"),
    [
        ({}, 0),
        ({"verified": False}, 1),
        ({"stored": False}, 1),
        ({"stored": True}, 0),
        ({"survived_power_cycle": False}, 1),
        ({"verified": None, "handed_over": True}, 0),
    ],
)
def test_a_change_answers_no_with_status_1(more, status, capsys):
    assert tell_change(Session(), change(**more)) == status
    assert capsys.readouterr().out


def test_small_words():
    assert [duration(s) for s in (0.2, 59.4, 80, 3900)] == [
        "0 s",
        "59 s",
        "1 min 20 s",
        "1 h 05 min",
    ]
    assert plain(None) == "unknown" and plain(True) == "yes" and plain([220.0, 0.5]) == "220, 0.5"
    assert (plain(-0.00000001), plain(-0.5), plain(80.0)) == ("0", "-0.5", "80")
    assert table([]) == [] and wrapped("") == [""]
    long = "a" * 100
    assert f"  {long}" in wrapped(f"see {long} here")


def test_a_reading_set_aside_is_named_by_its_place_where_it_has_one():
    aside = {"row": 9, "place": "5", "reading_mm": 10.7, "why": "-96.49 mm off the others"}
    result = {"quantities": [], "proposals": [], "set_aside": [aside], "warnings": []}
    assert "  place 5, 10.7 mm: -96.49 mm off the others" in result_lines(result)


def test_what_rounds_to_nothing_is_not_below_nothing():
    (row,) = quantity_table([quantity(value=-1e-9, u=1e-3, low95=-2e-3, high95=2e-3)])
    assert "-0.0 " not in row and "-0.00 " not in row and "-0.20" in row
