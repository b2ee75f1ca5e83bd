"""Each family of controllers, as a raw client sees it and as our own reading understands it.

Shapes of lines are from memory, common practice, no source.
"""

from __future__ import annotations

import re
import time
from pathlib import Path

import pytest

from asleft.controller import MachineDescription, connect
from asleft.errors import RefusedError
from asleft.practice import Hands
from asleft.practice.clock import Clock
from asleft.practice.names import KINDS as NAMES
from asleft.practice.words.kinds import KINDS
from asleft.practice.workshop import Workshop

SPEED = 300.0
TELLING = [name for name in NAMES if name not in ("cartesian", "report-config-file")]


def described(hands: Hands) -> MachineDescription:
    known = {"name": "practice", "address": hands.address, **hands.hello["machine"]}
    return MachineDescription.from_dict(known)


def brief(wanted_s: float) -> None:
    time.sleep(wanted_s / 20)


def held(hands: Hands, where: str = "in_force") -> dict[str, float]:
    """What the board holds, by the names that a report gives it."""
    values = hands.ask("peek_settings")[where]
    named = dict(values["M92"])
    if "E1" in named:
        named["E0"] = named.pop("E")
    return named | {n: values["M665"][n] for n in "LR" if "M665" in values}


def test_names_are_those_of_the_kinds():
    assert tuple(KINDS) == NAMES
    assert {kind.dialect.tools for kind in KINDS.values()} == {1, 2}


@pytest.mark.parametrize("kind", TELLING)
def test_what_a_family_tells_sets_and_stores_is_what_it_holds(kind: str, tmp_path: Path) -> None:
    """Over a real connection: read, set every value anew, read back, store, power off and on."""
    with Hands(3, kind, SPEED) as hands:
        with connect(described(hands), home=tmp_path, holder="a test", pause=brief) as machine:
            report = machine.read_settings()
            assert report.complete and not report.inches
            there = held(hands)
            assert_told(report.named, there)
            wanted = {name: round(value * 1.0123, 3) for name, value in there.items()}
            machine.set_values(wanted)
            assert held(hands) == pytest.approx(wanted, rel=1e-6)
            assert_told(machine.read_settings().named, wanted)
            stores = machine.store()
            assert stores is {"no-storage": False, "report-bare": None}.get(kind, True)
            hands.ask("power_cycle")
            assert machine.restarted(within_s=5.0)
            after = there if kind == "no-storage" else wanted
            assert_told(machine.read_settings().named, after)
        assert held(hands, "stored") == pytest.approx(after, rel=1e-6)


def assert_told(named, values: dict[str, float]) -> None:
    for name, value in values.items():
        noise = 2e-7 * value  # of a single float, which a board may print
        assert abs(named[name].value - value) <= named[name].last_place + noise, name


def test_a_board_with_a_file_tells_no_steps_and_takes_them_from_hands(tmp_path: Path) -> None:
    with Hands(3, "report-config-file", SPEED) as hands:
        with connect(described(hands), home=tmp_path, holder="a test", pause=brief) as machine:
            report = machine.read_settings()
            assert report.steps_untold and not report.complete
            assert any("travel_per_turn_mm" in line for line in report.unknown)
            lines = ["X in steps per mm: 80.1234 instead of 80 (times 1.001543)", "M92 E95.5"]
            entered = hands.ask("edit_file", lines=lines)["entered"]
            assert entered == {"X": 80.1234, "E": 95.5}
            assert machine.restarted(within_s=5.0)
        # Travel is written with five decimals: 3200/80.1234 = 39.93840 mm.
        assert any(" 39.93840 " in line for line in hands.ask("read_file")["lines"])
        for where in ("in_force", "stored"):
            assert held(hands, where)["X"] == pytest.approx(80.1234, rel=1e-6)
        with pytest.raises(RefusedError, match="no entry for E1"):
            hands.ask("edit_file", lines=["M92 E1:2"])
        with pytest.raises(RefusedError, match="stands nowhere"):
            hands.ask("edit_file", lines=["M852 I0.001"])


def test_only_a_board_with_a_file_has_one(bench):
    for do, arguments in (("read_file", {}), ("edit_file", {"lines": []})):
        with pytest.raises(RefusedError, match="no file"):
            bench.do(do, **arguments)


def test_a_bare_report_has_old_values_as_comment_and_noise_in_its_digits(start):
    bench = start(kind="report-bare")
    bench.ask("M92 X80.12")
    report = bench.ask("M503")
    assert "  M92 X80.120003 Y80 Z400 E93" in report  # 80.12 as a single float
    assert any(re.match(r"; M92 X79\.5 ", line) for line in report)
    assert not any("echo:" in line for line in report)
    assert bench.ask("M777 S1") == ['// Unknown command: "M777 S1"', "ok"]
    (told,) = bench.ask("M115")
    assert told.startswith("ok BOARD:")
    assert bench.ask("M500") == ["ok"] == bench.ask("M501")


def test_a_bare_board_asks_again_without_ok_and_refuses_what_is_in_flight(start, numbered):
    bench = start(kind="report-bare")
    bench.ask("M110 N0")
    lines = [numbered(n, "M27") + "\n" for n in (2, 3, 1)]
    bench.wire.send("".join(lines).encode())
    got = [bench.wire.line() for _ in range(6)]
    assert [line for line in got if line.startswith("rs")] == ["rs N1", "rs N1"]
    assert got.count("ok") == 1 and got[-1] == "ok"  # that of line 1 alone


def test_steps_per_tool_stand_in_lines_of_their_own(start, numbered):
    bench = start(kind="report-per-tool")
    bench.ask("M92 T1 E141.2")
    report = [line for line in bench.ask("M503") if "M92" in line]
    assert [line.split("M92 ")[1] for line in report] == [
        "X80.00 Y80.00 Z400.00",
        "T0 E93.00",
        "T1 E141.20",
    ]
    bench.ask("M110 N40")
    assert bench.ask(numbered(41, "M27"))[-1] == "ok N41 P15 B3"
    assert bench.ask("M27")[-1] == "ok P15 B3"
    assert bench.ask("M92 T2 E90")[0] == "Error:no tool 2"
    assert "M92 T1 E93.00" in " ".join(bench.ask("M501"))  # the whole report: what was stored


def test_a_colon_list_has_a_value_for_each_tool_and_answers_stand_behind_ok(start):
    bench = start(kind="report-colon-list")
    bench.ask("M92 E139.7:141.2")
    assert bench.ask("M92") == ["ok M92: X80.000 Y80.000 Z400.000 E139.700:141.200"]
    (where,) = bench.ask("M114")
    assert where.startswith("ok X:0.00 Y:0.00")
    assert bench.ask("M777") == ["ok"]  # not here, and not said
    bench.wire.send(b"M27\n")
    assert bench.wire._file.readline().endswith(b"\r\n")


def test_m92_alone_tells_and_lines_without_number_are_refused(start, numbered):
    bench = start(kind="report-m92-only")
    assert bench.ask("M503")[0].startswith("Error:line without number")
    bench.ask("M110 N0")
    assert bench.ask(numbered(1, "M503")) == ["error: unsupported", "ok"]
    (steps, _) = bench.ask(numbered(2, "M92"))
    assert steps.endswith("X: 80.000, Y: 80.000, Z: 400.000, E: 93.000")
    assert bench.wire.line() == "wait"  # idle, after a second
    (answer, ok) = bench.ask(numbered(3, "M105"))
    assert answer.startswith("T:") and ok == "ok"


def test_inches_are_in_force_after_power_on(start):
    bench = start(kind="report-inches")
    report = bench.ask("M503")
    assert "echo:  G20" in report and "echo:  M92 X2032.000 Y2032.000" in " ".join(report)
    bench.ask("G21")
    assert "echo:  M92 X80.000" in " ".join(bench.ask("M503"))
    bench.do("power_cycle")
    assert bench.wire.line() == "start" and [bench.wire.line() for _ in range(2)]
    assert "echo:  G20" in bench.ask("M503")


def test_a_board_without_storage_says_no_and_ignores_numbers(start, numbered):
    bench = start(kind="no-storage")
    assert bench.ask(numbered(77, "M27")) == ["Card: not printing", "ok"]
    assert bench.ask("N5 M27*0") == ["Card: not printing", "ok"]  # a wrong checksum, too
    assert bench.ask("M500")[0] == "Error:no memory to store in"
    assert bench.ask("M501")[0].startswith("Error:no memory")
    assert "Cap:EEPROM:0" in bench.ask("M115")


def test_a_delta_loses_its_place_when_its_arms_change(start):
    bench = start(kind="delta")
    bench.ask("G28")
    assert bench.ask("M114")[0].startswith("X:0.00 Y:0.00 Z:240.00")
    assert bench.ask("G1 X-60 Y40 Z100 F6000") == ["ok"]
    assert bench.ask("G1 X-101")[0].startswith("Error:X-101.00 is outside")
    for line in ("M665 L268.5", "M666 X-0.2"):
        bench.ask("G28")
        assert bench.ask(line) == ["ok"]
        assert bench.ask("G1 X5")[0].startswith("Error:not homed")
    report = " ".join(bench.ask("M503"))
    assert "M665 L268.5000 R140.0000 H240.0000 S100.0000" in report
    assert "M666 X-0.2000 Y0.0000 Z0.0000" in report
    assert bench.ask("M665 L-1")[0].startswith("Error:")


def test_a_second_nozzle_is_heated_told_and_cooled_with_the_first(start):
    bench = start(kind="report-per-tool")
    bench.ask("M104 T1 S200")
    told = bench.ask("M105")[0]
    assert re.search(r"T0:\S+ /0\.0 T1:\S+ /200\.0", told)
    assert bench.ask("M104 T2 S200")[0] == "Error:no tool 2"
    assert bench.do("peek_heaters")["on"] is True
    bench.do("power_cycle")
    assert bench.do("peek_heaters")["on"] is False


def test_the_second_tool_feeds_another_filament(start):
    bench = start(kind="report-per-tool")
    bench.do("mark", marked_mm=120)
    for tool, moved in ((1, False), (0, True)):
        before = float(bench.do("measure_remaining")["text"])
        for line in (f"M104 T{tool} S220", f"M109 T{tool} S220", f"T{tool}", "M83", "G1 E40 F100"):
            bench.ask(line)
        bench.ask("M400")
        after = float(bench.do("measure_remaining")["text"])
        assert (before - after > 30) is moved


def test_every_kind_is_another_machine():
    workshops = [Workshop(seed=5, kind=kind, clock=Clock(1)) for kind in KINDS.values()]
    assert len({workshop.board.identity for workshop in workshops}) == len(KINDS)
    again = Workshop(seed=6, kind=KINDS["delta"], clock=Clock(1))
    assert again.board.identity not in {workshop.board.identity for workshop in workshops}
