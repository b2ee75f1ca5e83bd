"""The past as the store tells it in few queries: what was done, on which settings, what counts."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import pytest

from asleft.record import Store, history, history_chart


def test_what_was_done_is_told_and_the_second_piece_is_not(
    calibrated: tuple[Store, int],
) -> None:
    store, calibration = calibrated
    done = history.measured_on(store, 1)
    assert [row.kind for row in done] == ["feed", "span"]
    assert {row.calibration_id for row in done} == {calibration}
    assert done[1].tolerance["scale"] == 0.001 and done[1].instrument["name"] == "bench caliper"
    trial = store.trial(done[1].trial_id)
    assert trial is not None and trial.result is not None
    assert done[1].quantities == trial.result["quantities"]
    assert done[1].at == trial.ended_at and done[1].kept_id == trial.kept_id
    assert history.measured_with(store, "bench caliper") == done
    assert history.measured_with(store, "another") == []
    assert history.measured_on(store, 99) == []


def test_settings_are_those_of_the_kept_state_as_left(calibrated: tuple[Store, int]) -> None:
    store, calibration = calibrated
    left = history.states_as_left(store, 1)
    told = history.settings_of(store, left.values())[left[calibration]]
    assert told.steps_per_mm["X"] == 80.17 and told.skew == {"XY": 0.0012} and told.delta == {}


def test_a_report_from_storage_is_not_as_left(store: Store) -> None:
    machine = store.add_machine({"name": "orrery printer"})
    frame = store.open_calibration(machine, versions={}, person=None, conditions={})
    kept = [
        store.keep(machine, raw="", parsed={"steps_per_mm": {"X": None, "Y": 80}}, reason="r",
                   standing=standing, calibration_id=frame)
        for standing in ("in_force", "from_storage")
    ]  # fmt: skip
    assert history.states_as_left(store, machine) == {frame: kept[0]}
    assert history.settings_of(store, kept)[kept[0]].steps_per_mm == {"Y": 80.0}


def test_only_the_latest_trials_speak_for_an_instrument(
    calibrated: tuple[Store, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    store, _ = calibrated
    monkeypatch.setattr(history, "LATEST_TRIALS", 2)  # the proof is the third
    assert [row.kind for row in history.measured_with(store, "bench caliper")] == ["span"]


def test_machines_without_calibrations_are_counted_too(calibrated: tuple[Store, int]) -> None:
    store, _ = calibrated
    store.add_machine({"name": "orrery printer", "drive": "delta"})
    told = {each.name: each for each in history.pasts(store)}
    assert told["long-case printer"].calibrations == 1
    assert told["orrery printer"].calibrations == 0 and told["orrery printer"].last is None
    assert history.drives(store)[told["orrery printer"].id] == "delta"
    assert set(history.last_done(store, 1)) == {"feed", "span", "proof"}


def point(at: str, level: float, **more: object) -> dict[str, object]:
    told = {"at": at, "level": level, "u": 3e-4, "ewma": level, "low": -1e-3, "high": 1e-3}
    return {**told, "outside": False, **more}


def chart(*points: dict[str, object], **more: object) -> ET.Element:
    series = {"name": "printed_scale", "axis": "X", "plane": None, "unit": "1", "tolerance": 1e-3}
    return ET.fromstring(history_chart({**series, "points": list(points), **more}))  # noqa: S314


def of_class(drawn: ET.Element, word: str) -> list[ET.Element]:
    return [each for each in drawn.iter() if each.get("class") == word]


def test_later_stands_right_and_larger_stands_higher() -> None:
    drawn = chart(
        point("2024-01-01T00:00:00Z", 0.0),
        point("2024-07-01T00:00:00Z", 5e-4),
        point("2025-01-01T00:00:00Z", 2e-3, outside=True),
    )
    dots = of_class(drawn, "dot") + of_class(drawn, "out")
    across, down = ([float(d.get(name) or 0) for d in dots] for name in ("cx", "cy"))
    assert across == sorted(across) and down == sorted(down, reverse=True)
    assert len(of_class(drawn, "out")) == 1
    assert len(of_class(drawn, "limit")) == 2 and len(of_class(drawn, "average")) == 1
    words = [each.text for each in drawn.iter() if each.tag.endswith("text")]
    assert "printed scale X (%)" in words and "2024-01-01" in words


def test_one_point_without_limits_or_tolerance_is_drawn() -> None:
    drawn = chart(point("2024-01-01T00:00:00Z", 0.0, low=None, high=None), tolerance=None)
    assert len(of_class(drawn, "dot")) == 1
    assert not of_class(drawn, "limit") and not of_class(drawn, "band")
