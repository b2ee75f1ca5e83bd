"""What was said of an evening, what nobody said, and what the room does to a printed scale."""

from __future__ import annotations

import pytest

from asleft.errors import InputError, RefusedError
from asleft.record import Store, assemble
from asleft.record.conditions import checked, in_force, not_said, room


def test_of_each_key_the_latest_counts_and_a_new_room_needs_its_own_doubt() -> None:
    said = [{"room_c": 24.0, "room_u_c": 0.5, "spool": "grey"}, {"room_c": 19.0}, {"spool": "red"}]
    assert in_force(said) == {"room_c": 19.0, "spool": "red"}


@pytest.mark.parametrize(
    "said",
    [
        {"room_c": 240.0},
        {"room_u_c": 0.0},
        {"room_c": float("nan")},
        {"nozzle_mm": 4.0},
        {"spool": "x" * 201},
        {"mood": "good"},
    ],
)
def test_what_cannot_be_is_refused(said) -> None:
    with pytest.raises(InputError):
        checked(said)


def test_what_was_left_empty_is_not_said() -> None:
    assert checked({"spool": "", "room_c": None, "dried": " 4 h at 50 °C "}) == {
        "dried": "4 h at 50 °C"
    }


def test_the_room_is_told_with_its_doubt_and_not_corrected() -> None:
    # ISO 1: sizes hold at 20 °C. Plastic 70, steel 11.5 millionths a kelvin (both from memory).
    told = room({"room_c": 25.0, "room_u_c": 2.0}, ["span"])
    assert told is not None and told["departure_k"] == 5.0
    assert told["scale"] == pytest.approx(5 * (70e-6 - 11.5e-6))
    assert told["scale_u"] == pytest.approx(2 * (70e-6 - 11.5e-6))
    unsure = room({"room_c": 25.0}, ["span"])
    assert unsure is not None and unsure["scale_u"] is None and "was not said" in unsure["reason"]
    assert room({}, ["span"]) is None
    assert room({"room_c": 25.0}, ["feed"]) is None  # no printed piece was read


def test_only_what_matters_to_the_trials_made_is_missed() -> None:
    missed = {each["what"]: each["meaning"] for each in not_said({}, ["feed", "span"], named=False)}
    assert "20\u00a0°C (ISO 1)" in missed["room_c"] and "0.0058\u00a0%" in missed["room_c"]
    assert {"measured_by", "material", "spool", "nozzle_c", "bed_c", "dried"} < set(missed)
    assert not_said({}, ["traverse"], named=True) == []
    some = {each["what"] for each in not_said({"room_c": 21.0}, ["span"], named=True)}
    assert "room_u_c" in some and "room_c" not in some


def test_said_at_any_time_until_the_calibration_is_closed(store: Store) -> None:
    machine = store.add_machine({"name": "barograph printer"})
    number = store.open_calibration(machine, versions={}, person=None, conditions={"room_c": 18.0})
    store.add_conditions(number, {"spool": "grey"})
    store.add_conditions(number, {"room_c": 21.0})
    record = assemble(store, number, versions={})
    assert record["conditions"] == {"room_c": 21.0, "spool": "grey"}
    assert [each["details"] for each in record["conditions_said"]] == [
        {"spool": "grey"},
        {"room_c": 21.0},
    ]
    store.close_calibration(number, "done")
    with pytest.raises(RefusedError):
        store.add_conditions(number, {"room_c": 30.0})
    with pytest.raises(InputError):
        store.add_conditions(99, {"room_c": 30.0})
