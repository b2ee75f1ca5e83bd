"""Short answers by their shapes (common practice, no source; numbers invented)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.controller.capabilities import (
    parse_card_progress,
    parse_identity,
    parse_percent,
    parse_position,
    parse_temperatures,
)
from asleft.link import sensor_is_broken


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("T:198.6 /205.0 B:54.9 /55.0 @:61 B@:12", {"T0": (198.6, 205.0), "B": (54.9, 55.0)}),
        ("T:21.0 @:0", {"T0": (21.0, None)}),
        ("T0:30 /0 T1:31.5/210 B:20 /0", {"T0": (30, 0), "T1": (31.5, 210), "B": (20, 0)}),
        ("T:31.5 /210 T0:30 /0 T1:31.5 /210", {"T0": (30, 0), "T1": (31.5, 210)}),
        ("B:20.1 /0.0 C:25.0 T:-15.0 /0.0", {"B": (20.1, 0), "C": (25, None), "T0": (-15, 0)}),
        ("P7 B2", {}),
    ],
)
def test_temperatures(text: str, expected: dict[str, tuple[float, float | None]]) -> None:
    found = parse_temperatures([text])
    assert {n: (one.actual_c, one.target_c) for n, one in found.items()} == expected


def test_broken_sensors() -> None:
    broken = parse_temperatures(["T:inf /0"])["T0"].actual_c
    assert all(sensor_is_broken(c) for c in (broken, -15.0, 0.0, float("nan")))
    assert not sensor_is_broken(4.5)


def test_identity_with_blanks_in_values() -> None:
    text = (
        "FIRMWARE_NAME:Bench board 3 (May) PROTOCOL_VERSION:1.0 MACHINE_TYPE:Long bed "
        "EXTRUDER_COUNT:1 UUID:8a1b2c3d-0000-4000-8000-00000000beef"
    )
    identity = parse_identity([text, "Cap:EEPROM:1", "Cap:AUTOREPORT_TEMP:0"])
    assert identity.fields["MACHINE_TYPE"] == "Long bed"
    assert identity.fields["FIRMWARE_NAME"] == "Bench board 3 (May)"
    assert identity.capabilities == {"EEPROM": True, "AUTOREPORT_TEMP": False}
    assert identity.fingerprint == "UUID:8a1b2c3d-0000-4000-8000-00000000beef"


def test_identity_with_commas_and_a_blank_uuid() -> None:
    identity = parse_identity(["FIRMWARE_NAME:Bench, FIRMWARE_VERSION:2, UUID:00000000-0000"])
    assert identity.fields["FIRMWARE_NAME"] == "Bench"
    assert identity.fingerprint is None


def test_position_leaves_counts_out() -> None:
    assert parse_position(["X:1.50 Y:-2.00 Z:5.00 E:0.00 Count X:120 Y:0 Z:2000"]) == {
        "X": 1.5,
        "Y": -2.0,
        "Z": 5.0,
        "E": 0.0,
    }
    assert parse_position(["nothing here"]) == {}


def test_card_and_overrides() -> None:
    assert parse_card_progress(["SD printing byte 12/3456"]) == (12, 3456)
    assert parse_card_progress(["Not SD printing"]) is None
    assert parse_percent(["echo:E0 Flow: 95%"]) == 95.0
    assert parse_percent(["FR:110%"]) == 110.0
    assert parse_percent(["echo:M221 S90"]) == 90.0
    assert parse_percent(["fine"]) is None


@given(st.lists(st.text()))
def test_no_text_breaks_them(texts: list[str]) -> None:
    parse_identity(texts)
    parse_temperatures(texts)
    parse_position(texts)
    parse_card_progress(texts)
    parse_percent(texts)
