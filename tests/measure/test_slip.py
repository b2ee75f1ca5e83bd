"""Where feeding slips: a bracket that holds, no false onset, and the monotone fit."""

import numpy as np
import pytest

from asleft.measure import FeedReading, Instrument, slip_bracket, solve_feed
from asleft.measure.feed.slip import falling

RATES = np.repeat([60.0, 120.0, 180.0, 240.0, 300.0, 360.0, 420.0, 480.0], 3)


def _curve(rates, begins, slope, power):
    """Whole up to a rate, then falling: a hinge, a bend or a soft knee."""
    return 1 - slope * np.maximum(rates / begins - 1, 0) ** power


def _crossing(begins, slope, power):
    """Where 1 % is lost."""
    return begins * (1 + (0.01 / slope) ** (1 / power))


def test_no_false_onset_in_a_thousand_machines() -> None:
    rng = np.random.default_rng(17)
    seen = 0
    for _ in range(3000):
        level, sd = rng.uniform(0.93, 1.07), 10 ** rng.uniform(-3, -1)
        found = slip_bracket(RATES, level * (1 + rng.normal(0, sd, RATES.size)))
        seen += found.high is not None
    assert seen <= 3


@pytest.mark.parametrize("repeats", [2, 4])
def test_the_bracket_holds(repeats: int) -> None:
    rng = np.random.default_rng(repeats)
    rates = np.repeat(np.unique(RATES), repeats)
    hits, closed, inside = [], 0, []
    for _ in range(1500):
        begins = rng.uniform(125, 400)
        slope, power = rng.choice([0.1, 0.3, 1.0]), rng.choice([1.0, 2.0])
        sd = rng.uniform(0.001, 0.004)
        truth = _crossing(begins, slope, power)
        share = _curve(rates, begins, slope, power)
        # A slipping gear scatters more than a gripping one.
        ratios = 1.02 * (share + rng.normal(0, sd, rates.size) * (1 + 5 * (1 - share)))
        found = slip_bracket(rates, ratios)
        low, high = found.low or 0.0, found.high or np.inf
        hits.append(low < truth <= high)
        if found.between is not None:
            closed += 1
            inside.append(low <= found.between <= high)
    assert np.mean(hits) >= 0.99
    assert closed > 500 and all(inside)


def test_a_clear_onset_is_placed() -> None:
    ratios = _curve(RATES, 270.0, 0.5, 1.0) + np.tile([0.001, -0.001, 0.0], 8)
    found = slip_bracket(RATES, ratios)
    assert (found.low, found.high) == (240.0, 300.0)
    assert found.between == pytest.approx(_crossing(270.0, 0.5, 1.0), abs=20)


def test_monotone_fit_by_a_second_method() -> None:
    # scipy.optimize.isotonic_regression on the same weights, to all digits.
    from scipy.optimize import isotonic_regression

    rng = np.random.default_rng(3)
    values, weights = rng.normal(size=40) - np.arange(40) / 15, rng.integers(1, 6, 40).astype(float)
    other = isotonic_regression(values, weights=weights, increasing=False).x
    assert falling(values, weights) == pytest.approx(other, abs=1e-13)


def test_what_lacks_is_said() -> None:
    once = slip_bracket(np.array([60.0, 120.0, 240.0]), np.array([1.0, 1.0, 0.8]))
    assert once.high is None and "scatter" in (once.reason or "")
    with pytest.raises(ValueError, match="three rates"):
        slip_bracket(np.array([60.0, 60.0, 120.0]), np.ones(3))
    rng = np.random.default_rng(2)
    wild = slip_bracket(RATES, 1 + rng.normal(0, 0.2, RATES.size))
    assert wild.low is None and wild.between is None and wild.reason


def test_the_feed_trial_tells_of_slip() -> None:
    ratios = _curve(RATES, 270.0, 0.5, 1.0) + np.tile([0.001, -0.001, 0.0], 8)
    readings = [
        FeedReading(100.0, 100 * f, 120.0, 120 - 100 * f, r)
        for r, f in zip(RATES, ratios, strict=True)
    ]
    found = solve_feed(readings, instrument=Instrument(), in_force=93.0)
    ratio, slip = found.quantities
    assert ratio.value == pytest.approx(1.0, abs=1e-9)
    assert (slip.name, slip.unit, slip.low95, slip.high95) == ("slip_rate", "mm/min", 240.0, 300.0)
    assert slip.u == pytest.approx(60 / 12**0.5)
    assert any("would narrow it" in w for w in found.warnings)
    slow = solve_feed(readings[:12], instrument=Instrument(), in_force=93.0).quantities[1]
    assert slow.value is None and slow.u is None and "no slip was seen" in slow.reason
    few = solve_feed(readings[:6], instrument=Instrument(), in_force=93.0)
    assert [q.name for q in few.quantities] == ["fed_ratio"]
