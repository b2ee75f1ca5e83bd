"""The traverse trial on a moving practice machine: what it finds is what was hidden."""

from __future__ import annotations

import pytest

from asleft.errors import RefusedError, Stopped


def quantities(told, name: str) -> dict:
    return next(q for q in told["result"]["quantities"] if q["name"] == name)


def test_motion_scale_and_reversal_are_found_without_plastic(sit_down, hands) -> None:
    with sit_down() as (bench, _):
        told = bench.trial("traverse", {"along": "X", "span_mm": 120.0, "start_mm": 50.0})
    truth = hands.ask("reveal")["truth"]
    scale = quantities(told, "motion_scale")
    assert told["outcome"] == "done" and len(told["readings"]) == 30
    assert abs(scale["value"] - truth["step_error"]["X"]) < 3 * scale["u"]
    mean = quantities(told, "reversal_mean")
    assert abs(mean["value"]) == pytest.approx(truth["reversal_mm"]["X"], abs=3 * mean["u"])
    assert not hands.ask("peek_heaters")["on"]


def test_nothing_moves_outside_the_stated_travel(sit_down, hands) -> None:
    with sit_down() as (bench, _):
        bench.found()
        with pytest.raises(RefusedError, match="outside the travel"):
            bench.trial("traverse", {"along": "X", "start_mm": 150.0, "span_mm": 100.0})
        lines = hands.ask("peek_received", last=500)["lines"]
        assert lines and not any("G1" in line["text"] for line in lines)


def test_interrupted_it_begins_anew_and_the_old_readings_stay_in_the_record(sit_down) -> None:
    options = {"targets": 2, "cycles": 2, "span_mm": 60.0}
    with sit_down("traverse.2+.1") as (bench, _), pytest.raises(Stopped):
        bench.trial("traverse", options)
    with sit_down() as (bench, person):
        told = bench.trial("traverse", options)
        record = bench.record(close=False)
    assert told["outcome"] == "done" and len(told["readings"]) == 8
    assert [t["outcome"] for t in record["trials"]] == ["failed", "done"]
    assert len(record["trials"][0]["readings"]) == 4
    assert any("begins anew" in text for text in person.told)
