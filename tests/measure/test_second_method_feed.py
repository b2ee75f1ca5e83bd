"""The feed estimate by a GUM calculator: value, uncertainty, degrees of freedom, budget.

GTC is used for nothing but this comparison; the measurement function is written out here anew.
"""

import math

import GTC as gtc  # noqa: N811
import numpy as np
import pytest

from asleft.measure import FeedReading, Instrument, solve_feed
from asleft.measure.chance import coverage_factor

CALIPER = Instrument()


def _drawn(seed: int, n: int, scatter: float) -> np.ndarray:
    return np.round(np.random.default_rng(seed).normal(97.3, scatter, n), 2)


@pytest.mark.parametrize("cut", [False, True])
@pytest.mark.parametrize(("n", "scatter"), [(4, 0.2), (3, 0.3), (8, 0.1)])
def test_budget_by_a_gum_calculator(cut: bool, n: int, scatter: float) -> None:
    lengths = _drawn(81 + n, n, scatter)
    readings = [
        FeedReading(100.0, float(a), None if cut else 120.0, None if cut else 120.0 - float(a))
        for a in lengths
    ]
    found = solve_feed(readings, instrument=CALIPER, in_force=93.0)
    q = found.quantities[0]
    mean = gtc.type_a.estimate(lengths.tolist(), label="scatter")
    scale = gtc.ureal(1.0, 0.03 / math.sqrt(3) / 150, label="scale")
    zero = gtc.ureal(0.0, 0.03 / math.sqrt(3) if cut else 0.0, label="zero")
    ratio = (mean * scale - zero) / 100
    # Twelve digits in value and u, ten in the degrees of freedom.
    assert q.value == pytest.approx(gtc.value(ratio), rel=1e-12)
    assert q.u == pytest.approx(gtc.uncertainty(ratio), rel=1e-12)
    k = coverage_factor(gtc.dof(ratio))
    assert q.high95 - q.value == pytest.approx(k * gtc.uncertainty(ratio), rel=1e-10)
    lines = {b.input: b.contribution for b in found.budget}
    assert lines["scatter of a feed"] == pytest.approx(gtc.component(ratio, mean), rel=1e-12)
    assert lines["scale of the caliper"] == pytest.approx(gtc.component(ratio, scale), rel=1e-12)
    if cut:
        part = gtc.component(ratio, zero)
        assert lines["zero of the outside jaws"] == pytest.approx(abs(part), rel=1e-12)
