"""Reading, setting and storing against a scripted line."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from asleft.controller import tell_also
from asleft.errors import InputError, MachineError, RefusedError

Make = Callable[..., Any]
InTurn = Callable[..., Callable[[str], list[str]]]


def test_two_like_reports_are_believed(bench: Make) -> None:
    on = bench()
    report = on.machine.read_settings()
    assert report.complete and report.steps_per_mm["X"] == 80.13
    assert on.line.sent == ["M503", "G21", "M503"]


def test_a_cut_or_garbled_report_is_asked_for_again(
    bench: Make, in_turn: InTurn, report_lines: list[str]
) -> None:
    garbled = [x.replace("80.13", "88.13") for x in report_lines]
    on = bench({"M503": in_turn(report_lines[:3], garbled, report_lines)})
    report = on.machine.read_settings()
    assert report.complete and report.steps_per_mm["X"] == 80.13
    assert on.line.sent.count("M503") == 4


def test_reports_that_never_agree_are_not_complete(bench: Make) -> None:
    numbers = iter(range(1000))
    on = bench({"M503": lambda _: [f"M92 X{next(numbers) + 1} Y80 Z400 E93"]})
    report = on.machine.read_settings()
    assert not report.complete and "alike" in (report.reason or "")
    assert on.line.sent.count("M503") <= 7


def test_a_machine_in_inches_is_read_per_mm_and_put_back(bench: Make) -> None:
    inches = ["G20", "M92 X2032 Y2032 Z10160 E2362.2"]
    units = {"mm": False}

    def switch(command: str) -> list[str]:
        units["mm"] = command == "G21"
        return ["ok"]

    def tell(_: str) -> list[str]:
        return ["G21", "M92 X80 Y80 Z400 E93"] if units["mm"] else inches

    on = bench({"M503": tell, "G21": switch, "G20": switch})
    report = on.machine.read_settings()
    assert report.steps_per_mm == {"X": 80, "Y": 80, "Z": 400, "E": 93}
    assert not report.inches
    on.machine.close()
    assert on.line.closed and not units["mm"]


def test_steps_from_m92_alone_where_the_report_has_none(bench: Make) -> None:
    answers = {
        "M503": ["alpha.steps 100.4 # was 99"],
        "M92": ["Steps: X: 100.4, Y: 100.4, Z: 1600, E: 139.7"],
    }
    on = bench(answers)
    report = on.machine.read_settings()
    assert report.complete and report.steps_per_mm["E"] == 139.7
    assert report.raw.startswith("alpha.steps 100.4 # was 99\n")


def test_a_machine_that_tells_nothing_says_why(bench: Make) -> None:
    unknown = ['echo:Unknown command: "M503"']
    on = bench({"M503": unknown, "M92": ['echo:Unknown command: "M92"']})
    report = on.machine.read_settings()
    assert not report.complete and report.reason


def test_a_machine_that_stopped_is_not_one_without_settings(bench: Make) -> None:
    on = bench({"M503": ["!! driver too hot", "ok"], "M92": ["!! driver too hot", "ok"]})
    with pytest.raises(MachineError, match=r"driver too hot.*M503"):
        on.machine.read_settings()


def test_what_was_said_is_not_said_again() -> None:
    error = MachineError("too hot. Heaters off was confirmed.")
    tell_also(error, MachineError("Heaters off was confirmed."))
    assert error.message == "too hot. Heaters off was confirmed."
    tell_also(error, MachineError("the guard is off"))
    assert error.message.endswith("And then: the guard is off")


def test_values_are_checked_before_anything_is_sent(bench: Make) -> None:
    on = bench()
    on.machine.read_settings()
    on.line.sent.clear()
    for bad in ({"X": 80.0, "Y": 0.0}, {"X": 80.0, "E1": 93.0}, {"X": float("nan")}, {}):
        with pytest.raises(InputError):
            on.machine.set_values(bad)
    assert on.line.sent == []
    assert on.machine.set_values({"X": 80.5, "XY": 0.002}) == ["M92 X80.5", "M852 I0.002"]
    assert on.line.sent == ["G21", "M92 X80.5", "M852 I0.002"]


def test_a_refusal_is_no_success_though_ok_came(bench: Make) -> None:
    on = bench({"M92 X80.5": ["Error:not now", "ok"]})
    with pytest.raises(MachineError, match="not now"):
        on.machine.set_values({"X": 80.5})


@pytest.mark.parametrize(
    ("answer", "stored"),
    [
        (["echo:Settings Stored (611 bytes; crc 3)", "ok"], True),
        (["override file written", "ok"], True),
        (["ok"], None),
        (["Error: no card", "ok"], False),
        (['echo:Unknown command: "M500"', "ok"], False),
        (["echo:settings not stored", "ok"], False),
    ],
)
def test_what_storing_says(bench: Make, answer: list[str], stored: bool | None) -> None:
    on = bench({"M500": answer})
    assert on.machine.store() is stored


def test_reloading_discards_only_with_leave(bench: Make) -> None:
    on = bench()
    with pytest.raises(RefusedError):
        on.machine.reload_stored(discard_unstored=False)
    assert on.line.sent == []
    assert on.machine.reload_stored(discard_unstored=True).complete
    assert on.line.sent[0] == "M501"


@pytest.mark.parametrize(
    ("card", "places", "target", "expected"),
    [
        ("Not SD printing", (1.0, 1.0), 0, False),
        ("Not SD printing", (1.0, 2.0), 0, True),
        ("Not SD printing", (1.0, 1.0), 200, None),
        ("SD printing byte 100/2000", (1.0, 1.0), 0, True),
        ("SD printing byte 0/0", (1.0, 1.0), 0, False),
        ('echo:Unknown command: "M27"', (1.0, 1.0), 0, None),
    ],
)
def test_is_it_printing(
    bench: Make,
    in_turn: InTurn,
    card: str,
    places: tuple[float, float],
    target: int,
    expected: bool | None,
) -> None:
    where = in_turn(*([f"X:{x} Y:0 Z:0 E:0"] for x in places))
    nozzle = {"target_c": float(target)}
    on = bench({"M27": [card], "M114": where}, nozzle=nozzle)
    assert on.machine.is_printing() is expected
    assert set(on.line.sent) <= {"M27", "M114", "M105"}


def test_a_machine_that_was_only_asked_is_left_as_it_is(bench: Make) -> None:
    on = bench(nozzle={"at_c": 200.0, "target_c": 200.0})
    with on.machine as machine:
        assert machine.is_printing() is None
    assert on.line.closed and on.nozzle.target_c == 200.0
    with on.machine as machine:
        machine.feed(1.0, 50.0)
    assert on.nozzle.target_c == 0.0
