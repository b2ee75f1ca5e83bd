"""The whole job on a real byte stream: as found to record, judged by what was hidden."""

from __future__ import annotations

import pytest

from asleft.bench.evening import whole_evening


@pytest.mark.timeout(120)
def test_an_evening_ends_stored_proved_and_nearer_the_truth(sit_down, hands) -> None:
    with sit_down() as (bench, _):
        bench.describe_instrument({"name": "caliper", "mpe_mm": 0.03, "resolution_mm": 0.01})
        evening = whole_evening(
            bench, {"temperature_c": 205.0, "instrument": "caliper"}, began=lambda _: None
        )
        record = bench.record(close=True)
    assert evening.stored and evening.survived_power_cycle
    revealed = hands.ask("reveal")
    hidden, residual = revealed["hidden"], revealed["residual"]
    worst = max(abs(hidden[axis]) for axis in "XYE")
    assert max(abs(residual[axis]) for axis in "XYE") < worst / 3
    assert abs(residual["E"]) < 0.01
    assert record["calibration"]["closed_at"] is not None
    assert record["proof"]["chi2"] == evening.jobs["proof"]["chi2"]
    assert not hands.ask("peek_heaters")["on"]


def test_the_prediction_was_filed_before_the_second_piece_was_read(sit_down) -> None:
    with sit_down() as (bench, _):
        bench.found()
        bench.trial("span", {})
        bench.prove()
        record = bench.record(close=False)
    proof = next(t for t in record["trials"] if t["kind"] == "proof")
    assert record["proof"]["predicted_at"] < min(r["at"] for r in proof["readings"])
