"""Instruments and tolerances: data sheets into uncertainties, and back through JSON."""

import json
import math

import numpy as np
import pytest

from asleft.errors import InputError
from asleft.measure import Instrument, KnownLengthCheck, Tolerance, solve_span


def test_data_sheet_to_standard_uncertainty() -> None:
    # JCGM 100:2008, 4.3.7 and F.2.2.1: ±0.03 mm is 0.01732 mm, a step of 0.01 mm is 0.00289 mm.
    caliper = Instrument()
    assert caliper.zero_sd_mm == pytest.approx(0.017320508)
    assert caliper.rounding_sd_mm == pytest.approx(0.002886751)
    assert caliper.scale_sd * caliper.reach_mm == pytest.approx(caliper.zero_sd_mm)


def test_round_trip() -> None:
    checked = Instrument("bench caliper", check=KnownLengthCheck(100.0, 0.003, 0.01, 0.002))
    assert Instrument.from_dict(json.loads(json.dumps(checked.to_dict()))) == checked
    assert Instrument.from_dict({"name": "old", "future": 1}) == Instrument("old")


@pytest.mark.parametrize("wrong", [0.0, -0.01, math.nan, math.inf])
def test_impossible_instruments(wrong: float) -> None:
    for name in ("resolution_mm", "mpe_mm", "reach_mm", "zero_u_mm"):
        with pytest.raises(InputError):
            Instrument(**{name: wrong})


def test_a_long_check_helps_and_a_short_one_does_not(piece, machine) -> None:
    readings = machine(np.random.default_rng(5), face=0.0, noise=0.01).read(piece(n=6).rows())

    def u(instrument: Instrument) -> float:
        found = solve_span(readings, instrument=instrument, in_force={}, skew=None)
        return next(q.u for q in found.quantities if q.name == "printed_scale" and q.axis == "X")

    zeroed = Instrument(zero_u_mm=0.003)
    long = Instrument(zero_u_mm=0.003, check=KnownLengthCheck(100.0, 0.003, 0.0, 0.002))
    short = Instrument(check=KnownLengthCheck(20.0, 0.003, 0.0, 0.005))
    assert u(long) < 0.93 * u(zeroed)
    assert u(short) > 0.93 * u(Instrument())


def test_tolerances() -> None:
    assert Tolerance.parse("scale=0.1%,shear=1mrad,feed=1%,bead=3%") == Tolerance()
    assert Tolerance.parse("scale=0,2%;shear=2 mrad") == Tolerance(scale=0.002, shear=0.002)
    assert Tolerance.parse("growth=0.05mm").growth == 0.05


@pytest.mark.parametrize(
    "text", ["", "scale", "scale=", "scale=0%", "scale=-1%", "size=1%", "shear=1%", "feed=1mrad",
             "scale=1%,scale=2%", "scale=nan", "scale=200%"]
)  # fmt: skip
def test_wrong_tolerances(text: str) -> None:
    with pytest.raises(InputError):
        Tolerance.parse(text)
