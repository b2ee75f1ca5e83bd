"""Differences within the printed digits, and the way back."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from asleft.controller import (
    SettingsReport,
    departures,
    difference,
    lines_by_hand,
    parse_report,
    restore_lines,
    same_within_digits,
)
from asleft.controller.setting import parse_setting

BEFORE = """echo:  G21
echo:  M92 X80.00 Y80.00 Z400.00 E93.00
echo:  M145 S0 H205 B60
echo:  M145 S1 H240 B90
echo:  M587 S"bench"
echo:  M852 I0.001000 J0.000000 K0.000000
door.key 4.5
"""


def test_like_reports_do_not_differ() -> None:
    assert difference(parse_report(BEFORE), parse_report(BEFORE)) == []
    noisy = parse_report(BEFORE + "echo:Free places: 12\nuptime 340\n")
    assert difference(parse_report(BEFORE), noisy) == []


def test_each_changed_value_is_told_once() -> None:
    after = BEFORE.replace("Y80.00", "Y80.01").replace("H240", "H230").replace('"bench"', '"room"')
    found = difference(parse_report(BEFORE), parse_report(after))
    assert [(d.code, d.letter, d.before, d.after) for d in found] == [
        ("M92", "Y", 80.0, 80.01),
        ("M145", "H", 240.0, 230.0),
        ("", "", 'M587 S"bench"', None),
        ("", "", None, 'M587 S"room"'),
    ]


def test_printed_digits_bound_the_comparison() -> None:
    assert same_within_digits(80.1234, 80.12, 0.01)
    assert not same_within_digits(80.12, 80.13, 0.01)
    assert same_within_digits(139.70, 139.6999, 1e-4)  # single precision, printed with 4 digits
    assert not same_within_digits(139.70, 139.69, 0.01)


def test_dropped_zeros_do_not_widen_the_comparison() -> None:
    before, after = (parse_report(f"M92 X{x} Y80.125 Z400 E93\n") for x in ("80", "80.4"))
    assert [d.letter for d in difference(before, after)] == ["X"]


def test_departures_of_a_change() -> None:
    before = parse_report(BEFORE)
    after = parse_report(BEFORE.replace("X80.00", "X80.12"))
    assert departures(before, after, {"X": 80.1234}) == []
    assert [d.after for d in departures(before, before, {"X": 80.1234})] == [80.0]
    touched = parse_report(BEFORE.replace("X80.00 Y80.00", "X80.12 Y80.12"))
    assert [d.letter for d in departures(before, touched, {"X": 80.1234})] == ["Y"]
    assert departures(before, after, {"X": 80.12, "E0": 93.0}) == []


def test_restoring_sends_only_what_differs_in_the_machines_order() -> None:
    kept = parse_report(BEFORE)
    now = parse_report(
        BEFORE.replace("I0.001000", "I0.002000").replace("E93", "E97").replace("H240", "H1")
    )
    assert restore_lines(kept, kept, everything=True) == []
    assert restore_lines(kept, now, everything=False) == [
        "M92 X80.00 Y80.00 Z400.00 E93.00",
        "M852 I0.001000 J0.000000 K0.000000",
    ]
    assert restore_lines(kept, now, everything=True) == [
        "M92 X80.00 Y80.00 Z400.00 E93.00",
        "M145 S1 H240 B90",
        "M852 I0.001000 J0.000000 K0.000000",
    ]


def test_lines_that_were_not_understood_are_restored_too() -> None:
    kept = parse_report(BEFORE)
    now = parse_report(BEFORE.replace('"bench"', '"room"').replace("4.5", "5.5"))
    assert restore_lines(kept, now, everything=True) == ['M587 S"bench"']
    assert lines_by_hand(kept, now) == ["door.key 4.5"]


def test_a_kept_state_in_inches_is_restored_per_mm() -> None:
    kept = parse_report("G20\nM92 X2032 Y2032 Z10160 E2362.2\nM206 X1 Y0 Z0\n")
    now = parse_report("G21\nM92 X81 Y80 Z400 E93\nM206 X0 Y0 Z0\n")
    assert restore_lines(kept, now, everything=True) == [
        "M92 X80.0000 Y80.0000 Z400.0000 E93.0000",
        "G20",
        "M206 X1 Y0 Z0",
        "G21",
    ]


def board_after(report: SettingsReport, lines: list[str]) -> SettingsReport:
    """A board that obeys: each line sets its values where code, tool and slot are the same."""
    held = [(s.code, s.tool, s.values.get("S"), dict(s.values), s) for s in report.settings]
    for line in lines:
        sent = parse_setting(line)
        assert sent is not None
        place = (sent.code, sent.tool, sent.values.get("S"))
        (values,) = [v for *where, v, _ in held if tuple(where) == place]
        values.update(sent.values)
    return parse_report("\n".join(replace(s, values=v).command for *_, v, s in held) + "\n")


PRINTED = """M92 X80.00 Y80.00 Z400.00
M92 T0 E93.00
M92 T1 E95.00
M145 S0 H205 B60
M145 S1 H240 B90
M852 I0.001000 J0.000000 K0.000000
"""


@given(
    st.dictionaries(
        st.sampled_from(["X", "Y", "Z", "E", "H", "B", "I", "J", "K"]),
        st.integers(1, 99_999).map(lambda n: n / 100),
    )
)
def test_restoring_gives_back_what_was_kept(changed: dict[str, float]) -> None:
    kept = parse_report(PRINTED)
    words = [
        replace(s, values={n: changed.get(n, v) for n, v in s.values.items()}).command
        for s in kept.settings
    ]
    now = parse_report("\n".join(words) + "\n")
    back = board_after(now, restore_lines(kept, now, everything=True))
    assert difference(kept, back) == []
    some = board_after(now, restore_lines(kept, now, everything=False))
    assert {d.code for d in difference(kept, some)} <= {"M145"}
    assert some.steps_per_mm == kept.steps_per_mm


def test_a_machine_that_drops_zeros_did_not_round() -> None:
    before = parse_report("M92 X80 Y80 Z400 E93")
    rounded = parse_report("M92 X80 Y80 Z400 E94")
    assert departures(before, rounded, {"X": 80.37, "E": 94.0})
    assert difference(parse_report("M92 X80.37 Y80 Z400 E94"), rounded)
    assert not departures(before, rounded, {"E": 94.0})
