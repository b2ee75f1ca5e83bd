"""Checks on a known length: from readings, and what they tell of an instrument's own scale."""

import math

import numpy as np
import pytest

from asleft.errors import InputError
from asleft.measure import FeedReading, Instrument, KnownLengthCheck, solve_feed
from asleft.measure.linear import least_squares


def test_a_check_from_readings() -> None:
    found = KnownLengthCheck.from_readings([100.02, 100.04, 100.02, 100.04], 100.0, 0.003, 0.01)
    assert found.error_mm == pytest.approx(0.03)
    # Standard deviation 0.01155 over √4: JCGM 100, 4.2.3.
    assert found.error_u_mm == pytest.approx(0.005774, abs=1e-6)
    alike = KnownLengthCheck.from_readings([100.02] * 5, 100.0, 0.003, 0.01)
    assert alike.error_u_mm == pytest.approx(0.01 / 12**0.5)
    for wrong in ([100.0, 100.0], [100.0, -1.0, 100.0], [100.0, float("nan"), 100.0]):
        with pytest.raises(InputError):
            KnownLengthCheck.from_readings(wrong, 100.0, 0.003, 0.01)


@pytest.mark.parametrize("length", [20.0, 50.0, 100.0, 150.0])
@pytest.mark.parametrize("zero", [None, 0.003])
def test_own_scale_by_least_squares(length: float, zero: float | None) -> None:
    check = KnownLengthCheck(length, 0.003, 0.04, 0.004)
    instrument = Instrument(check=check, zero_u_mm=zero)
    # Zero and scale as parameters with priors, the check as the one row that both are in.
    fit = least_squares(
        np.array([[1.0, length]]),
        np.array([0.04]),
        0.005,
        None,
        np.array([instrument.outside_zero_sd_mm, instrument.scale_sd]),
    )
    value, u = instrument.own_scale()
    assert value == pytest.approx(fit.values[1], rel=1e-10)
    assert u == pytest.approx(fit.covariance[1, 1] ** 0.5, rel=1e-10)


def test_without_a_check_the_data_sheet_stands() -> None:
    assert Instrument().own_scale() == (0.0, Instrument().scale_sd)


def test_feed_uses_the_check() -> None:
    # A caliper that reads 0.5 % long and is known to: what looks like 100.5 fed is 100.
    check = KnownLengthCheck(100.0, 0.001, 0.5, 0.001)
    long = Instrument(mpe_mm=3.0, check=check, zero_u_mm=0.001)
    rows = [FeedReading(100.0, 100.5 + d, 120.6, 20.1 - d) for d in (0.05, -0.05, 0.03, -0.03)]
    ratio = solve_feed(rows, instrument=long, in_force=93.0).quantities[0]
    assert ratio.value == pytest.approx(1.0, abs=1e-4)
    assert ratio.u < 0.0005


@pytest.mark.parametrize("zero", [None, 0.004])
@pytest.mark.parametrize("length", [0.0, 60.0, 100.0])
def test_own_error_by_least_squares(length: float, zero: float | None) -> None:
    check = KnownLengthCheck(100.0, 0.003, 0.04, 0.004)
    instrument = Instrument(check=check, zero_u_mm=zero)
    sds = np.array([math.hypot(0.003, 0.004), instrument.outside_zero_sd_mm, instrument.scale_sd])
    design = np.array([[1.0, 100.0], [1.0, 0.0], [0.0, 1.0]]) / sds[:, None]
    covariance = np.linalg.inv(design.T @ design)
    there = np.array([1.0, length])
    expected = there @ covariance @ design.T @ (np.array([0.04, 0.0, 0.0]) / sds)
    value, u = instrument.own_error(length)
    assert value == pytest.approx(expected, rel=1e-9)
    assert u == pytest.approx(math.sqrt(there @ covariance @ there), rel=1e-9)


def test_a_cut_piece_as_long_as_the_known_length_is_freed_of_what_was_found() -> None:
    # Zero and scale are tied by the check: at its length their sum is known, whatever each is.
    check = KnownLengthCheck(100.0, 0.001, 0.04, 0.001)
    caliper = Instrument(check=check)
    cut = [FeedReading(100.0, 100.04 + d) for d in (-0.03, 0.03, -0.03, 0.03)]
    found = solve_feed(cut, instrument=caliper, in_force=93.0)
    assert found.quantities[0].value == pytest.approx(1.0, abs=3e-6)
    own = next(line for line in found.budget if line.kind == "B")
    assert own.contribution < 2e-5
    total = sum(line.contribution**2 for line in found.budget)
    assert found.quantities[0].u == pytest.approx(math.sqrt(total), rel=1e-12)
