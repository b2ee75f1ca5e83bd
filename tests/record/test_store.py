"""The store: what goes in comes out, and nothing is doubled, altered or lost."""

from __future__ import annotations

import os
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from asleft.errors import InputError, RefusedError, StoreError
from asleft.record import Store


@pytest.fixture
def machine(store: Store) -> int:
    return store.add_machine({"name": "skeleton-clock printer", "drive": "delta"})


@pytest.fixture
def calibration(store: Store, machine: int) -> int:
    return store.open_calibration(machine, versions={}, person=None, conditions={})


@pytest.fixture
def trial(store: Store, calibration: int) -> int:
    return begin(store, calibration)


def begin(store: Store, calibration: int, kind: str = "feed") -> int:
    return store.start_trial(
        calibration, kind, parameters={"n": 4}, steps=["a"], kept_id=None, instrument={}, making={}
    )


def read(store: Store, trial: int, key: str = "feed.1", value: float = 20.05) -> int:
    return store.add_reading(
        trial, key=key, place={"commanded_mm": 100.0}, value=value, raw=" 20,05", unit="mm"
    )


def test_a_new_description_is_a_new_row_and_the_latest_counts(store: Store, machine: int) -> None:
    again = store.add_machine({"name": "skeleton-clock printer", "drive": "delta", "tools": 2})
    assert again == machine
    found = store.machine("skeleton-clock printer")
    assert found is not None
    assert found.description["tools"] == 2
    assert len(store.machines()) == 1
    assert store.machine("another") is None


def test_a_machine_without_a_name_is_refused(store: Store) -> None:
    with pytest.raises(InputError, match="needs a name"):
        store.add_machine({"name": "  "})
    assert store.machines() == []


def test_fingerprints_are_kept_when_they_change(store: Store, machine: int) -> None:
    for seen in ("a", "a", "b", "a"):
        store.note_fingerprint(machine, seen)
    assert store.machines()[0].fingerprints == ("a", "b", "a")


def test_instruments_carry_their_checks(store: Store) -> None:
    store.add_instrument({"name": "depth rod", "mpe_mm": 0.02})
    store.add_instrument_check("depth rod", {"nominal_mm": 50.0, "read_mm": 50.01})
    found = store.instrument("depth rod")
    assert found is not None
    assert found.checks[0]["read_mm"] == 50.01
    with pytest.raises(InputError, match="no instrument is called 'rule'"):
        store.add_instrument_check("rule", {})


def test_kept_states_are_kept_to_the_letter(store: Store, machine: int) -> None:
    raw = "M92 X80.00\r\n; größer \x0b \t\r\nok\r\n"
    number = store.keep(machine, raw=raw, parsed={}, reason="as found", standing="pasted")
    found = store.kept(number)
    assert found is not None
    assert found.raw == raw
    assert store.latest_kept(machine) == found
    assert store.kept(number + 1) is None


def test_one_open_calibration_a_machine(store: Store, machine: int, calibration: int) -> None:
    with pytest.raises(RefusedError, match=f"calibration {calibration} .* still open"):
        store.open_calibration(machine, versions={}, person=None, conditions={})
    other = store.add_machine({"name": "another"})
    store.open_calibration(other, versions={}, person=None, conditions={})
    store.close_calibration(calibration, "the record was made")
    assert store.open_calibration_of(machine) is None
    with pytest.raises(RefusedError, match="was closed at"):
        store.close_calibration(calibration, "again")
    second = store.open_calibration(machine, versions={}, person=None, conditions={})
    assert [row.id for row in store.calibrations(machine)] == [calibration, second]


def test_closing_what_is_not_there(store: Store) -> None:
    with pytest.raises(InputError, match="no calibration 9"):
        store.close_calibration(9, "why")


def test_a_trial_is_unfinished_until_it_ended(store: Store, calibration: int, trial: int) -> None:
    unfinished = store.unfinished_trial(calibration, "feed")
    assert unfinished is not None
    assert (unfinished.id, unfinished.outcome) == (trial, "unfinished")
    assert store.unfinished_trial(calibration, "span") is None
    store.end_trial(trial, "no_estimate", "the readings contradict each other", None)
    found = store.trial(trial)
    assert found is not None
    assert (found.outcome, found.result) == ("no_estimate", None)
    assert store.unfinished_trial(calibration, "feed") is None
    with pytest.raises(RefusedError, match="has ended"):
        store.end_trial(trial, "done", None, {})
    with pytest.raises(RefusedError, match="has ended"):
        read(store, trial)


def test_steps_come_back_in_order(store: Store, trial: int) -> None:
    for key, state in (("mark", "started"), ("mark", "void"), ("mark", "started")):
        store.mark_step(trial, key, state, {"try": 1})  # type: ignore[arg-type]
    assert [row.state for row in store.steps(trial)] == ["started", "void", "started"]


def test_a_reading_is_never_doubled_and_may_be_taken_again(store: Store, trial: int) -> None:
    first = read(store, trial)
    with pytest.raises(RefusedError, match=r"feed.1 has a reading already \(20,05\)"):
        read(store, trial)
    store.void_reading(first, "wrong side of the mark")
    with pytest.raises(RefusedError, match="taken back before"):
        store.void_reading(first, "again")
    read(store, trial, value=20.11)
    found = store.readings(trial)
    assert [(row.take, row.value, row.voided) for row in found] == [
        (0, 20.05, True),
        (1, 20.11, False),
    ]
    assert found[0].raw == " 20,05"
    assert found[0].void_reason == "wrong side of the mark"
    with pytest.raises(InputError, match="no reading 99"):
        store.void_reading(99, "why")


def test_many_readings_go_in_all_or_none(store: Store, trial: int) -> None:
    def rows(*keys: str) -> list[dict[str, Any]]:
        return [{"key": k, "place": {}, "value": 1.0, "raw": "1", "unit": "mm"} for k in keys]

    with pytest.raises(RefusedError, match="b has a reading already"):
        store.add_readings(trial, rows("a", "b", "b"))
    assert store.readings(trial) == []
    ids = store.add_readings(trial, rows(*map(str, range(1000))))
    assert [row.id for row in store.readings(trial)] == ids


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf")])
def test_a_reading_is_a_number(store: Store, trial: int, value: float) -> None:
    with pytest.raises(InputError, match="value cannot be kept"):
        read(store, trial, value=value)
    assert store.readings(trial) == []


def test_proposals_go_in_all_or_none(store: Store, calibration: int, trial: int) -> None:
    good = {"setting": "steps_per_mm", "axis": "E", "proposed": 97.9}
    with pytest.raises(InputError, match="needs a setting"):
        store.conclude_trial(trial, {"proposals": [good, {"setting": "steps_per_mm"}]})
    assert store.proposals(calibration) == []
    kept = store.trial(trial)
    assert kept is not None and kept.outcome == "unfinished"


def test_details_that_are_no_json_are_refused(store: Store, trial: int) -> None:
    with pytest.raises(InputError, match="details cannot be kept"):
        store.mark_step(trial, "a", "done", {"clock": object()})


def test_rows_of_nothing_are_refused(store: Store) -> None:
    with pytest.raises(StoreError, match="FOREIGN KEY"):
        begin(store, 42)


def test_predictions_events_and_wire_logs(
    store: Store, machine: int, calibration: int, trial: int
) -> None:
    assert store.latest_prediction(calibration) is None
    store.add_prediction(calibration, trial, {"predicted": [1]})
    store.add_prediction(calibration, trial, {"predicted": [2]})
    latest = store.latest_prediction(calibration)
    assert latest is not None
    assert latest.details == {"predicted": [2]}
    store.add_event(machine, "nozzle", "0.4 mm, brass")
    assert store.events(machine)[0].text == "0.4 mm, brass"
    store.add_wire_log(None, machine, "wire/a.log", 1, 5)
    store.add_wire_log(calibration, machine, "wire/a.log", 6, 9)
    assert [row.first_line for row in store.wire_logs(calibration)] == [6]


def test_a_time_without_a_zone_is_refused(tmp_path: Path) -> None:
    def naive() -> Any:
        return datetime(2026, 3, 14)

    with (
        Store.open(tmp_path, clock=naive) as store,
        pytest.raises(ValueError, match="without a zone"),
    ):
        store.add_machine({"name": "bracket printer"})


def test_changes_keep_their_marks_and_say_whether_they_stand(
    store: Store, calibration: int
) -> None:
    def change(*states: tuple[str, dict[str, Any]]) -> tuple[str, bool]:
        number = store.start_change(
            calibration, settings=[{"setting": "X", "before": 80.0, "wanted": 80.2}], kind="set"
        )
        for state, details in states:
            store.mark_change(number, state, details)  # type: ignore[arg-type]
        found = store.change(number)
        assert found is not None
        return found.state, found.stands

    sent: tuple[str, dict[str, Any]] = ("sent", {})
    good: tuple[str, dict[str, Any]] = ("read_back", {"verified": True})
    assert change() == ("started", False)
    assert change(sent) == ("sent", False)
    assert change(sent, good) == ("read_back", True)
    assert change(sent, ("read_back", {"verified": False})) == ("read_back", False)
    assert change(sent, good, ("not_stored", {})) == ("not_stored", True)
    assert change(sent, good, ("undone", {})) == ("undone", False)
    assert change(sent, ("failed", {"reason": "line lost"})) == ("failed", False)
    assert change(("handed_over", {})) == ("handed_over", True)
    stored: tuple[str, dict[str, Any]] = ("stored", {})
    assert change(sent, good, stored, ("power_cycled", {"survived": False}))[1] is False
    assert len(store.changes(calibration)) == 9
    assert store.change(99) is None


@pytest.mark.parametrize("name", ["clocks 50%20", "grün #2", "why?"])
def test_a_home_may_be_called_anything(tmp_path: Path, name: str) -> None:
    if os.name == "nt" and "?" in name:
        pytest.skip("no folder can be called so there")
    with Store.open(tmp_path / name) as store:
        store.add_machine({"name": "regulator"})
    assert (tmp_path / name / "asleft.sqlite").is_file()
    assert [each.name for each in tmp_path.iterdir()] == [name]
