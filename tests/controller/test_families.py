"""Every family of settings reports: what is printed is read, what is kept is restored.

Shapes: common practice, no source; numbers are invented. A family here is a way to print values,
and a board that takes lines in the same way; neither knows the reader.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asleft.controller import (
    departures,
    difference,
    lines_by_hand,
    parse_report,
    restore_lines,
    setting_lines,
)
from asleft.controller.setting import parse_setting
from asleft.controller.writing import checked_settings

REPORTS = Path(__file__).parent / "reports"
INCH = 25.4


@dataclass
class Board:
    """Values in mm and raw lines, told and taken in one family's way."""

    family: str
    steps: dict[str, float]
    decimals: int
    skew: tuple[float, float, float]
    arms: dict[str, float]
    raw: dict[str, str]
    inches: bool = field(init=False, default=False)

    def tells(self) -> str:
        return "\n".join({**FAMILIES}[self.family](self)) + "\n"

    def number(self, value: float, power: int = 0) -> str:
        scale = INCH if self.family == "inches" else 1.0
        return f"{value * scale**-power:.{self.decimals}f}"

    def takes(self, lines: list[str]) -> None:
        """Obey lines as they stand: units, steps for a tool or a list, skew, arms, the rest."""
        for line in lines:
            code, *words = line.split()
            values = {w[0]: w[1:] for w in words if re.fullmatch(r"[A-Z][-\d.:]+", w)}
            if code in ("G20", "G21"):
                self.inches = code == "G20"
            elif code == "M92":
                self._steps(values)
            elif code == "M852":
                now = dict(zip("IJK", self.skew, strict=True))
                now |= {k: float(v) for k, v in values.items()}
                self.skew = (now["I"], now["J"], now["K"])
            elif code == "M665":
                unit = INCH if self.inches else 1.0
                self.arms |= {k: float(v) * unit for k, v in values.items()}
            else:
                assert code in self.raw, line
                self.raw[code] = line

    def _steps(self, values: dict[str, str]) -> None:
        tool = values.pop("T", None)
        for letter, text in values.items():
            each = [float(part) * (1 / INCH if self.inches else 1.0) for part in text.split(":")]
            if letter != "E":
                self.steps[letter] = each[0]
            elif tool is not None:
                self.steps[f"E{tool}"] = each[0]
            elif len(each) > 1:
                self.steps |= {f"E{n}": value for n, value in enumerate(each)}
            else:
                self.steps["E"] = each[0]


def _linear(b: Board, *, by: str = "") -> str:
    return " ".join(f"{a}{by}{b.number(b.steps[a], -1)}" for a in "XYZ")


def _extruders(b: Board) -> list[str]:
    return [b.number(v, -1) for n, v in sorted(b.steps.items()) if n[0] == "E"]


def _rest(b: Board, prefix: str = "") -> list[str]:
    i, j, k = b.skew
    return [f"{prefix}M852 I{i:.6f} J{j:.6f} K{k:.6f}", *(prefix + x for x in b.raw.values())]


def echoed(b: Board) -> list[str]:
    head = ["echo:; Steps per unit:", "echo:  M92 " + _linear(b) + f" E{_extruders(b)[0]}"]
    return ["echo:  G21    ; Units in mm", *head, *_rest(b, "echo:  ")]


def bare(b: Board) -> list[str]:
    old = "; M92 X1.00 Y1.00 was in force last year"
    return [old, f"M92 {_linear(b)} E{_extruders(b)[0]} # now", *_rest(b)]


def per_tool(b: Board) -> list[str]:
    tools = [f"M92 T{n} E{text}" for n, text in enumerate(_extruders(b))]
    return [f"M92 {_linear(b)}", *tools, *_rest(b)]


def colon_list(b: Board) -> list[str]:
    return [f"M92: {_linear(b)} E{':'.join(_extruders(b))}", *_rest(b)]


def labelled(b: Board) -> list[str]:
    words = ", ".join([*_linear(b, by=": ").split(" "), ""]).replace(":,", ":")
    told = f"{words.replace(':, ', ': ')}E: {_extruders(b)[0]}"
    return [*_rest(b), "; answer to M92", f"Steps per unit: {told}"]


def inches(b: Board) -> list[str]:
    return ["  G20", f"  M92 {_linear(b)} E{_extruders(b)[0]}", *_rest(b, "  ")]


def delta(b: Board) -> list[str]:
    arms = " ".join(f"{k}{v:.3f}" for k, v in b.arms.items())
    return [f"M92 {_linear(b)} E{_extruders(b)[0]}", f"M665 {arms}", *_rest(b)]


FAMILIES = {
    each.__name__: each for each in (echoed, bare, per_tool, colon_list, labelled, inches, delta)
}


@st.composite
def boards(draw: st.DrawFn, family: str) -> Board:
    """A machine of this family; the digits it prints are digits of what it holds."""
    decimals = draw(st.integers(2, 4))
    step = INCH if family == "inches" else 1.0

    def number(low: int, high: int, digits: int = decimals) -> float:
        return draw(st.integers(low * 10**digits, high * 10**digits)) / 10**digits

    tools = ["E0", "E1"] if family in ("per_tool", "colon_list") else ["E"]
    names = ["X", "Y", "Z", *tools]
    low = 40 if family == "inches" else 10  # below, inches cannot be told apart and are refused
    return Board(
        family,
        {n: float(f"{number(low, 700) * step:.4f}") / step for n in names},
        decimals,
        tuple(number(-1, 1, 6) * 0.01 for _ in range(3)),  # type: ignore[arg-type]
        {"L": number(200, 400, 3), "R": number(80, 190, 3), "H": number(100, 300, 3), "S": 200.0},
        {
            "M203": f"M203 X{number(1, 400, 2):.2f} Y300.00 Z8.00 E25.00",
            "M587": f'M587 S"bench {draw(st.integers(1, 9))}"',
        },
    )


@pytest.mark.parametrize("family", FAMILIES)
@settings(max_examples=30, deadline=None)
@given(data=st.data())
def test_what_is_printed_is_read_and_each_line_prints_as_itself(
    family: str, data: st.DataObject
) -> None:
    board = data.draw(boards(family))
    report = parse_report(board.tells())
    assert report.complete, report.reason
    for name, value in board.steps.items():
        printed = report.named[name]
        assert printed.value == pytest.approx(value, abs=printed.last_place * 0.51, rel=1e-9)
        assert report.steps_per_mm[name] == printed.value
    if family == "delta":
        assert {n: report.named[n].value for n in "LRHS"} == pytest.approx(board.arms)
    for setting in report.settings:
        again = parse_setting(setting.command)
        assert again is not None
        assert (again.code, again.tool, again.values, again.decimals) == (
            setting.code,
            setting.tool,
            setting.values,
            setting.decimals,
        )
    assert difference(report, parse_report(board.tells())) == []


@pytest.mark.parametrize("family", FAMILIES)
@settings(max_examples=30, deadline=None)
@given(data=st.data())
def test_restoring_what_was_kept_gives_the_same_report(family: str, data: st.DataObject) -> None:
    kept_board, now = data.draw(boards(family)), data.draw(boards(family))
    now.decimals = kept_board.decimals
    kept = parse_report(kept_board.tells())
    lines = restore_lines(kept, parse_report(now.tells()), everything=True)
    now.takes(checked_settings(lines))
    assert difference(kept, parse_report(now.tells())) == []
    assert not now.inches  # the machine is left working in mm


@pytest.mark.parametrize("family", FAMILIES)
@settings(max_examples=30, deadline=None)
@given(data=st.data())
def test_a_change_is_sent_in_the_machines_own_form_and_nothing_else_moves(
    family: str, data: st.DataObject
) -> None:
    board = data.draw(boards(family))
    board.decimals = 4
    before = parse_report(board.tells())
    names = [*board.steps, "XY", *(["L", "R"] if family == "delta" else [])]
    chosen = data.draw(st.lists(st.sampled_from(names), min_size=1, unique=True))
    limits = {"XY": (-0.05, 0.05), "L": (410, 500), "R": (60, 79)}
    wanted = {
        n: round(data.draw(st.floats(*limits.get(n, (40, 900)))), 6 if n == "XY" else 3)
        for n in chosen
    }
    board.takes(checked_settings(setting_lines(wanted, before)))
    assert departures(before, parse_report(board.tells()), wanted) == []


def golden(name: str) -> str:
    return (REPORTS / f"{name}.txt").read_text()


def test_one_tool_of_a_list_keeps_the_other() -> None:
    report = parse_report(golden("colon-list"))
    assert setting_lines({"E1": 142.0}, report) == ["M92 E139.7:142"]


def test_steps_come_from_m92_alone_and_commented_ones_never() -> None:
    report = parse_report(golden("labelled"))
    assert report.complete and report.steps_per_mm["X"] == 100.4
    assert setting_lines({"Z": 1601.5}, report) == ["M92 Z1601.5"]
    assert not report.steps_untold and not report.is_dump
    dump = parse_report(golden("dump") + "; answer to M92\nX: 80, Y: 80, Z: 400, E: 93\n")
    assert dump.is_dump and dump.complete


def test_what_was_not_understood_stays_raw_and_comes_back() -> None:
    kept = parse_report(golden("noisy"))
    assert "Hollow motor on axis 3" in kept.unknown
    now = parse_report(golden("noisy").replace("K0.05", "K0.08").replace("E139.6999", "E139.7"))
    assert restore_lines(kept, now, everything=True) == ["M900 K0.05"]


def test_keys_stay_raw_and_are_for_a_hand() -> None:
    kept = parse_report(golden("untold"))
    assert kept.steps_untold and kept.is_dump and not kept.complete
    assert "file on its board" in (kept.reason or "")
    now = parse_report(golden("untold").replace("22.906", "23.1"))
    assert restore_lines(kept, now, everything=True) == []
    assert lines_by_hand(kept, now) == ["gamma.travel_per_turn = 22.906"]


def test_a_delta_with_two_tools_in_inches() -> None:
    report = parse_report(golden("inch-tools"))
    assert report.steps_per_mm == pytest.approx(
        {"X": 80.0, "Y": 80.0, "Z": 400.0, "E0": 139.7, "E1": 141.2}
    )
    assert report.delta is not None
    assert report.delta["L"] == pytest.approx(215.3, abs=0.002)
    lines = setting_lines({"E1": 142.0, "L": 216.0}, report)
    assert lines == ["M92 T1 E142", "M665 L216"]
    back = restore_lines(report, parse_report("G21\nM92 X1 Y1 Z1\n"), everything=True)
    assert back[:3] == ["M92 X80.0000 Y80.0000 Z400.0000", "M92 T0 E139.7000", "M92 T1 E141.2000"]
    assert back[3] == "G20" and back[4].startswith("M665 L8.4764") and back[5] == "G21"
