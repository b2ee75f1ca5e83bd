"""The heat guard as arithmetic: what may be sent, what ends the work."""

from __future__ import annotations

import pytest

from asleft.errors import RefusedError
from asleft.link.guard import GuardLimits, HeatGuard, moves


def guard(**limits: float) -> HeatGuard:
    return HeatGuard(GuardLimits(**limits), 0.0)


@pytest.mark.parametrize(
    "command", ["M104 S261", "M109 R300", "M109S999", "M104 T1 S270", "M140 S111", "m190 S200"]
)
def test_above_the_limit_is_refused(command: str) -> None:
    with pytest.raises(RefusedError, match="limit"):
        guard().check(command)


@pytest.mark.parametrize(
    "command", ["M104 S260", "M140 S110", "M104", "M1040 S999", "M117 S999", "G1 X5 S900"]
)
def test_within_it_passes(command: str) -> None:
    guard().check(command)


def test_hot_until_switched_off_and_reported_so() -> None:
    watch = guard()
    assert not watch.may_be_hot
    watch.sent("M104 S200")
    assert watch.may_be_hot
    watch.sent("M104 S0")
    assert watch.may_be_hot  # sending is not believing
    watch.acknowledged("M104 S0")
    assert not watch.may_be_hot
    watch.heard("T:190 /200 B:20 /0", 1.0)  # it says that the heater is still on
    assert watch.may_be_hot
    watch.heard("T:180 /0 B:20 /0", 2.0)
    assert not watch.may_be_hot


def test_over_the_limit_is_trouble() -> None:
    watch = guard(max_nozzle_c=250, max_bed_c=100)
    watch.sent("M104 S250")
    watch.heard("T:250 /250 B:100 /100", 1.0)
    assert watch.trouble is None
    watch.heard("ok T:250.5 /250 B:90 /90", 2.0)
    assert watch.trouble is not None and "250.5" in watch.trouble


def test_what_somebody_else_heats_is_read_twice_before_it_is_ended() -> None:
    watch = guard(max_nozzle_c=250)
    for garbled in ("T:940 /240", "T:240 /240", "T:940 /240", "T:240 /240"):
        watch.heard(garbled, 1.0)
        assert watch.trouble is None
    watch.heard("T:262 /260", 2.0)
    watch.heard("T:262 /260", 3.0)
    assert watch.trouble is not None and "262" in watch.trouble and "printing" in watch.trouble


@pytest.mark.parametrize(
    ("reports", "trouble"),
    [
        ([100, 101, 99, 114], False),
        ([100, 90, 106], True),
        ([20, 30, 49], False),  # below 50 °C a sunny window explains it
        ([20, 45, 52], True),
    ],
)
def test_rising_with_heaters_off(reports: list[float], trouble: bool) -> None:
    watch = guard()
    for time_s, value in enumerate(reports):
        watch.heard(f"T:{value} /0 B:20 /0", float(time_s))
    assert (watch.trouble is not None) is trouble


def test_heating_on_purpose_is_no_trouble() -> None:
    watch = guard()
    watch.heard("T:20 /0", 0.0)
    watch.sent("M104 S200")
    for time_s in range(10):
        watch.heard(f"T:{20 + 20 * time_s} /200", float(time_s))
    assert watch.trouble is None


def test_a_broken_sensor_matters_only_where_its_heater_is_on() -> None:
    watch = guard()
    watch.heard("T:22 /0 B:-15 /0", 0.0)
    watch.sent("M104 S200")
    watch.heard("T:150 /200 B:-15 /0", 1.0)
    assert watch.trouble is None
    watch.heard("T:inf /200 B:-15 /0", 2.0)
    assert watch.trouble is not None


def test_idle_counts_from_the_last_command() -> None:
    watch = guard(idle_off_s=600)
    watch.sent("M104 S200")
    watch.commanded(100.0)
    assert not watch.idle_too_long(700.0)
    assert watch.idle_too_long(701.0)


@pytest.mark.parametrize("command", ["G1 E5", "G0 X1", "G28", "G2 X1", "G11", "T1", "M701", "M600"])
def test_what_moves(command: str) -> None:
    assert moves(command)


@pytest.mark.parametrize(
    "command", ["G21", "G90", "G92 E0", "G4 P1", "M114", "M104 S200", "M400", "M83", "M7010"]
)
def test_what_does_not(command: str) -> None:
    assert not moves(command)


def test_heat_that_we_only_found_is_not_ours() -> None:
    watch = guard()
    for command in ("M105", "M503", "M92 X80", "G21", "M104 S0"):
        watch.sent(command)
        watch.acknowledged(command)
    watch.heard("T:200 /205 B:60 /60", 1.0)
    assert watch.may_be_hot and not watch.ours and not watch.has_acted


def test_heat_that_we_switched_off_is_ours_until_it_is_seen_off() -> None:
    watch = guard()
    watch.sent("M104 S200")
    watch.heard("T:150 /200 B:20 /0", 1.0)
    watch.sent("M104 S0")
    watch.acknowledged("M104 S0")
    assert watch.ours and watch.has_acted
    watch.heard("T:150 /0 B:20 /0", 2.0)
    assert not watch.ours and watch.has_acted
    watch.heard("T:150 /210 B:20 /0", 3.0)  # somebody else's
    assert not watch.ours


@pytest.mark.parametrize("reading", ["-15.0", "0.0", "inf", "nan", "612.0"])
def test_one_rule_for_a_broken_sensor(reading: str) -> None:
    watch = guard(max_nozzle_c=700.0)
    watch.heard(f"T:{reading} /0 B:20 /0", 1.0)
    assert watch.trouble is None
    watch.sent("M104 S200")
    watch.heard(f"T:{reading} /200 B:20 /0", 2.0)
    assert "broken" in (watch.trouble or "")
