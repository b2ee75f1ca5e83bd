"""Individuals and EWMA charts against the worked examples of the NIST/SEMATECH e-Handbook.

Sources and how each figure was read stand in tests/reference/nist_handbook_examples.toml.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import numpy as np
import pytest

from asleft.measure import ewma_chart, individuals_chart

EXAMPLES = tomllib.loads(
    (Path(__file__).parents[1] / "reference" / "nist_handbook_examples.toml").read_text("utf-8")
)


def test_individuals_limits_of_the_handbook() -> None:
    told = EXAMPLES["individuals_chart"]  # 6.3.2.2, flow rate, ten batches
    chart = individuals_chart(told["values"])
    assert chart.low is not None and chart.high is not None
    assert chart.centre == pytest.approx(told["mean"], abs=5e-5)
    # The handbook rounds the mean moving range to 1.8778 first.
    assert chart.high == pytest.approx([told["ucl"]] * 10, abs=1e-4)
    assert chart.low == pytest.approx([told["lcl"]] * 10, abs=1e-4)
    assert chart.high[0] == pytest.approx(told["recomputed"]["ucl"], abs=1e-8)
    assert not any(chart.outside)


def test_ewma_of_the_handbook() -> None:
    told = EXAMPLES["ewma_chart"]  # 6.3.2.4; its first statistic is the target itself
    chart = ewma_chart(
        told["values"], target=told["target"], sd=told["sigma"], weight=told["lambda"]
    )
    assert chart.values == pytest.approx(told["ewma"][1:], abs=0.005001)
    assert chart.low is not None and chart.high is not None
    # The handbook gives the limits that are reached in the end, and truncates a factor.
    assert chart.high[-1] == pytest.approx(told["ucl"], abs=0.001)
    assert chart.low[-1] == pytest.approx(told["lcl"], abs=0.001)
    assert [i for i, out in enumerate(chart.outside) if out] == told["out_of_control"]


def test_ewma_limits_are_exact_from_the_first() -> None:
    chart = ewma_chart([0.0] * 5, sd=2.0, target=0.0)
    i = np.arange(1, 6)
    exact = 3 * 2.0 * np.sqrt(0.2 / 1.8 * (1 - 0.8 ** (2 * i)))  # e-Handbook 6.3.2.4
    assert chart.high == pytest.approx(exact, rel=1e-12)


def test_ewma_limits_cover_what_chance_does() -> None:
    chance = np.random.default_rng(3)
    u = np.array([1.0, 0.4, 2.0, 0.7, 1.0, 1.5])
    z = np.array(
        [ewma_chart(u * chance.standard_normal(6), sd=1.0, target=0.0).values for _ in range(4000)]
    )
    scaled = ewma_chart([5.0, -5.0, 5.0, -5.0, 5.0, -5.0], u, target=0.0)
    assert scaled.high is not None and scaled.scatter is not None
    assert np.std(z, axis=0) == pytest.approx(np.array(scaled.high) / 3 / scaled.scatter, rel=0.06)


def test_a_doubtful_value_has_wider_limits_and_pulls_the_centre_less() -> None:
    alike = individuals_chart([1.0, 2.0, 1.0, 9.0])
    doubted = individuals_chart([1.0, 2.0, 1.0, 9.0], [1.0, 1.0, 1.0, 10.0])
    assert doubted.centre < 1.5 < alike.centre
    assert doubted.high is not None and doubted.high[3] > doubted.high[0]
    assert doubted.low is not None
    assert doubted.high[3] - doubted.low[3] == pytest.approx(
        10 * (doubted.high[0] - doubted.low[0])
    )


def test_one_value_has_no_limits_and_says_why() -> None:
    for chart in (individuals_chart([0.3]), ewma_chart([0.3])):
        assert (chart.low is None and chart.scatter is None) or chart.scatter == 0.0
        assert chart.reason
        assert chart.outside == (False,)


@pytest.mark.parametrize("u", [None, [1.0], [1.0, 0.0]])
def test_no_values_and_impossible_uncertainties_are_refused(u: list[float] | None) -> None:
    with pytest.raises(ValueError):
        individuals_chart([] if u is None else [1.0, 2.0], u)
