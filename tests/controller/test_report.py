"""Settings reports by shape. Numbers are invented; shapes: common practice, no source."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.controller import parse_report, typed_report
from asleft.controller.report import STEPS_ANSWER
from asleft.controller.setting import Setting, format_number, parse_setting

REPORTS = Path(__file__).parent / "reports"


def golden(name: str) -> str:
    return (REPORTS / f"{name}.txt").read_text()


def test_echoed_report() -> None:
    report = parse_report(golden("echoed"))
    assert report.complete and report.reason is None
    assert report.steps_per_mm == {"X": 80.13, "Y": 79.86, "Z": 400.0, "E": 97.4}
    assert report.skew == {"XY": 0.00125, "XZ": 0.0, "YZ": -0.00031}
    assert report.delta is None
    assert report.unknown == ("echo:Door switch: not fitted", 'echo:  M587 S"bench" P"clock"')
    assert [s.code for s in report.settings][:3] == ["G21", "M200", "M92"]
    assert report.settings[2].line == "echo:  M92 X80.13 Y79.86 Z400.00 E97.40"


def test_line_ends_and_indents_do_not_matter() -> None:
    text = golden("echoed")
    for end in ("\r\n", "\r"):
        assert parse_report(text.replace("\n", end)).steps_per_mm["E"] == 97.4


def test_a_line_for_each_tool() -> None:
    report = parse_report(golden("plain-tools"))
    assert report.complete
    assert report.steps_per_mm == {"X": 100.4, "Y": 100.4, "Z": 1600.0, "E0": 139.7, "E1": 141.25}
    assert report.settings[1].tool == 0


def test_colon_list() -> None:
    report = parse_report(golden("colon-list"))
    assert report.steps_per_mm == {"X": 100.4, "Y": 100.4, "Z": 1600.0, "E0": 139.7, "E1": 141.2}
    assert report.settings[0].command == "M92 X100.400 Y100.400 Z1600.000 E139.700:141.200"


def test_delta_geometry_is_no_steps() -> None:
    report = parse_report(golden("delta"))
    assert report.steps_per_mm["X"] == 100.0
    assert report.delta is not None
    assert (report.delta["L"], report.delta["R"]) == (215.3, 105.4)
    assert report.delta["trim_Z"] == -0.31
    assert report.delta["tower_X"] == 0.1


@pytest.mark.parametrize("factor", [25.4, 1 / 25.4])
def test_inches_by_either_convention(factor: float) -> None:
    steps = {"X": 40.0, "Y": 40.0, "Z": 400.0, "E": 93.0}
    words = " ".join(f"{a}{v * factor:.6f}" for a, v in steps.items())
    report = parse_report(f"G20\nM92 {words}\n")
    assert report.steps_per_mm == pytest.approx(steps, rel=1e-5)
    assert report.warnings


def test_inches_that_cannot_be_told_apart_are_not_guessed() -> None:
    report = parse_report("G20\nM92 X300 Y300 Z300 E300\n")
    assert not report.complete and report.steps_per_mm["X"] is None
    assert any("inches" in w for w in report.warnings)


@pytest.mark.parametrize(
    "answer",
    [
        "Steps per unit: X: 100.400, Y: 100.400, Z: 1600.000, E: 139.700",
        "X: 100.400, Y: 100.400, Z: 1600.000, E: 139.700",
        "X:100.4 Y:100.4 Z:1600 E:139.7",
        "echo: M92 X100.4 Y100.4 Z1600 E139.7",
    ],
)
def test_answer_to_m92_alone(answer: str) -> None:
    report = parse_report(f"{golden('dump')}{STEPS_ANSWER}\n{answer}\n")
    assert report.steps_per_mm == {"X": 100.4, "Y": 100.4, "Z": 1600.0, "E": 139.7}
    assert report.unknown[0] == "alpha.steps_of_arm 100.4 # was 99"


def test_a_position_is_no_steps() -> None:
    report = parse_report("X:12.50 Y:10.00 Z:5.00 E:1.00 Count X:1000 Y:800 Z:2000\n")
    assert not report.complete
    assert report.steps_per_mm == {"X": None, "Y": None, "Z": None, "E": None}


@pytest.mark.parametrize("cut", range(0, 400, 7))
def test_a_cut_report_is_complete_only_with_every_axis(cut: int) -> None:
    text = golden("echoed")[:cut]
    report = parse_report(text)
    assert report.complete == (" E9" in text)
    assert report.complete or report.reason


def test_other_codes_with_axis_letters_are_no_steps() -> None:
    report = parse_report("M203 X300 Y300 Z8 E25\nM206 X0 Y0 Z0\n")
    assert report.steps_per_mm["X"] is None
    assert "cut short" in (report.reason or "")


def test_zero_steps_are_not_taken() -> None:
    report = parse_report("M92 X80 Y0 Z400 E93\n")
    assert report.steps_per_mm["Y"] is None and report.reason and "Y" in report.reason


def test_skew_by_s_i_j() -> None:
    assert parse_report("M852 S0.001 I0.002 J0.003\n").skew == {
        "XY": 0.001,
        "XZ": 0.002,
        "YZ": 0.003,
    }


def test_typed_values_make_a_report() -> None:
    report = typed_report({"X": 80.0, "Y": 80.0, "Z": 400.0, "E": 93.25})
    assert report.complete
    assert report.steps_per_mm == {"X": 80.0, "Y": 80.0, "Z": 400.0, "E": 93.25}
    assert typed_report({"X": 1.5, "E0": 2.5, "E1": 3.5}).steps_per_mm["E1"] == 3.5


def test_to_dict_has_the_agreed_keys() -> None:
    told = parse_report(golden("echoed")).to_dict()
    assert set(told) >= {"complete", "steps_per_mm", "skew", "delta", "settings", "warnings"}
    assert set(told["settings"][0]) == {"code", "tool", "values", "line"}


decimals = st.integers(0, 6)
letters = st.lists(st.sampled_from("XYZEPSIDABCFHKLR"), min_size=1, max_size=6, unique=True)


@st.composite
def settings(draw: st.DrawFn) -> Setting:
    digits = {x: draw(decimals) for x in draw(letters)}
    scaled = {x: draw(st.integers(-(10**9), 10**9)) for x in digits}
    values = {x: float(f"{scaled[x] / 10**6:.{d}f}") for x, d in digits.items()}
    code = draw(st.sampled_from("GM")) + str(draw(st.integers(0, 999)))
    return Setting(code, draw(st.none() | st.integers(0, 7)), values, digits, "")


@given(settings(), st.sampled_from(["", "echo:", "echo:   ", "  "]), st.sampled_from(["", " ; X9"]))
def test_reading_what_was_printed_gives_it_back(made: Setting, before: str, after: str) -> None:
    read = parse_setting(before + made.command + after)
    assert read is not None
    assert (read.code, read.tool) == (made.code, made.tool)
    assert dict(read.values) == dict(made.values)
    assert dict(read.decimals) == dict(made.decimals)
    assert read.command == made.command


@given(st.text())
def test_no_text_breaks_the_reader(text: str) -> None:
    report = parse_report(text)
    assert report.raw == text
    report.to_dict()


@given(st.floats(-1e6, 1e6))
def test_numbers_go_out_without_exponent(value: float) -> None:
    text = format_number(value, decimals=6)
    assert "e" not in text.lower() and float(text) == pytest.approx(value, abs=5.1e-7)
