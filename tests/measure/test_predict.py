"""The second piece: predicted as often as it should, and refused when it is another."""

import json
from dataclasses import dataclass, replace

import numpy as np
import pytest

from asleft.errors import InputError
from asleft.measure import (
    Instrument,
    SpanPrediction,
    SpanReading,
    predict_span,
    prove_span,
    solve_span,
)
from asleft.measure.span.predict import settings_change

STEPS = {"X": 80.0, "Y": 80.0, "Z": 400.0}
CALIPER = Instrument()


@dataclass
class Spot:
    label: str
    direction: str
    faces: str
    nominal_mm: float


def _spots(rows) -> list[Spot]:
    return [Spot(place, d, f, length) for d, f, length, place in dict.fromkeys(rows)]


def _evening(m, rows, wrong: float = 1.0):
    """Measure, change as proposed (times `wrong` on X), predict, print and measure again."""
    first = m.read(rows)
    found = solve_span(first, instrument=CALIPER, in_force=STEPS, skew={"XY": 0.0})
    after = {p.axis: p.proposed for p in found.proposals if p.setting == "steps_per_mm"}
    skew = {p.axis: p.proposed for p in found.proposals if p.setting == "skew"}
    prediction = predict_span(
        first,
        _spots(rows),
        instrument=CALIPER,
        steps_before=STEPS,
        steps_after=after,
        skew_before={"XY": 0.0},
        skew_after=skew,
    )
    really = after | {"X": after["X"] * wrong}
    second = m.read(rows, settings_change(STEPS, really, {"XY": 0.0}, skew))
    return prediction, second


def test_intervals_and_p_are_honest(piece, machine) -> None:
    rows = piece(n=2).rows()
    inside = places = 0
    p = []
    for seed in range(150):
        prediction, second = _evening(machine(np.random.default_rng(seed)), rows)
        proof = prove_span(prediction, second)
        inside, places = inside + proof.inside, places + proof.dof
        p.append(proof.p)
    assert 0.93 <= inside / places <= 0.985
    assert np.mean(np.array(p) < 0.01) <= 0.03
    assert np.mean(np.array(p) < 0.5) == pytest.approx(0.45, abs=0.15)


def test_a_change_that_did_not_arrive_is_not_proved(piece, machine) -> None:
    prediction, second = _evening(
        machine(np.random.default_rng(51)), piece(n=2).rows(), wrong=1.003
    )
    proof = prove_span(prediction, second)
    assert not proof.holds
    assert "not proved" in proof.reason


def test_the_caliper_cancels(piece, machine) -> None:
    # A caliper 0.1 % off in scale and 0.05 mm in zero predicts its own readings all the same.
    m = machine(np.random.default_rng(52))
    m.caliper, m.zeros = 0.0003, np.array([0.05, -0.05, 0.0])
    prediction, second = _evening(m, piece(n=2).rows())
    assert prove_span(prediction, second).holds


def test_a_misread_in_the_second_piece_is_named(piece, machine) -> None:
    prediction, second = _evening(machine(np.random.default_rng(53)), piece(n=2).rows())
    second[3] = replace(second[3], reading_mm=second[3].reading_mm + 0.5)
    proof = prove_span(prediction, second)
    assert [s.row for s in proof.set_aside] == [4]
    assert proof.holds
    assert "set aside" in proof.reason


def test_a_prediction_survives_storage(piece, machine) -> None:
    prediction, second = _evening(machine(np.random.default_rng(54)), piece(n=2).rows())
    stored = json.loads(json.dumps(prediction.to_dict(), allow_nan=False))
    again = SpanPrediction.from_dict(stored)
    assert prove_span(again, second).to_dict() == prove_span(prediction, second).to_dict()
    assert all(p.low95_mm < p.predicted_mm < p.high95_mm for p in again.places)
    assert set(again.allowances_mm) >= {"growth_between_pieces", "scatter_of_faces"}


def test_readings_find_their_places(piece, machine) -> None:
    prediction, second = _evening(machine(np.random.default_rng(55)), piece(n=2).rows())
    nameless = [replace(r, place=None) for r in second]
    assert prove_span(prediction, nameless).chi2 == pytest.approx(
        prove_span(prediction, second).chi2
    )
    for wrong in ([], [SpanReading("X", "outside", 55.0, 55.0)]):
        with pytest.raises(InputError):
            prove_span(prediction, wrong)


def test_both_pieces_may_be_warm(piece, machine) -> None:
    # The first piece's warmth is in its scale, the second's is new: they add, they do not cancel.
    rows = piece(n=2).rows()
    first = machine(np.random.default_rng(56)).read(rows)

    def u(kelvin: float) -> float:
        found = predict_span(
            first,
            _spots(rows),
            instrument=CALIPER,
            steps_before=STEPS,
            steps_after=STEPS,
            piece_temperature_u_k=kelvin,
        )
        return next(p.u_mm for p in found.places if p.direction == "X")

    both = 2 * (20.0 * 70e-6 * 107.0) ** 2
    assert u(20.0) ** 2 - u(0.01) ** 2 == pytest.approx(both, rel=0.05)
