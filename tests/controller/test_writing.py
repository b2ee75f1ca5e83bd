"""Values to lines: nothing impossible, in the form the machine prints."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from asleft.controller import SettingsReport, parse_report
from asleft.controller.writing import checked_settings, setting_lines
from asleft.errors import InputError, RefusedError

REPORTS = Path(__file__).parent / "reports"


def report(name: str) -> SettingsReport:
    return parse_report((REPORTS / f"{name}.txt").read_text())


def test_one_line_for_steps_and_one_for_skew() -> None:
    lines = setting_lines({"E0": 93.5, "XY": -0.000012, "X": 80.12345}, report("echoed"))
    assert lines == ["M92 X80.12345 E93.5", "M852 I-0.000012"]


def test_a_line_for_each_tool_where_the_machine_prints_so() -> None:
    assert setting_lines({"E1": 140.5, "Z": 1601}, report("plain-tools")) == [
        "M92 Z1601",
        "M92 T1 E140.5",
    ]


def test_a_colon_list_keeps_the_other_tool() -> None:
    assert setting_lines({"E1": 140.5}, report("colon-list")) == ["M92 E139.7:140.5"]


def test_arms() -> None:
    assert setting_lines({"L": 215.5, "R": 105.0}, report("delta")) == ["M665 L215.5 R105"]


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("X", 0.0),
        ("X", -80.0),
        ("E", math.nan),
        ("Z", math.inf),
        ("E1", 93.0),
        ("A", 80.0),
        ("L", 215.0),
        ("XY", 0.5),
        ("XY", math.nan),
        ("", 1.0),
    ],
)
def test_what_cannot_be_is_refused(name: str, value: float) -> None:
    with pytest.raises(InputError) as caught:
        setting_lines({"Y": 80.0, name: value}, report("echoed"))
    assert caught.value.where == name and caught.value.hint


def test_e_alone_names_no_tool_where_there_are_two() -> None:
    with pytest.raises(InputError):
        setting_lines({"E": 93.0}, report("colon-list"))


@pytest.mark.parametrize(
    "line",
    [
        *["M104 S250", "M109 S200", "G1 X10", "G28", "M500", "M502", "M112", "hello", "T1"],
        *["echo: M190 S60", "M140S60", "M92 X8é", "M92 " + "X1" * 50],
    ],
)
def test_a_kept_state_that_acts_is_refused(line: str) -> None:
    with pytest.raises(RefusedError):
        checked_settings(["M92 X80", line])


def test_kept_lines_go_out_bare() -> None:
    assert checked_settings(["echo:  M92 X80.00 ; steps", 'M587 S"bench"']) == [
        "M92 X80.00",
        'M587 S"bench"',
    ]
