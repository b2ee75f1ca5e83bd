"""Student's t and probabilities against the published tables."""

import csv
import math
import tomllib
from pathlib import Path

import pytest

from asleft.measure.chance import (
    coverage_factor,
    effective_dof,
    f_upper_tail,
    probability_within,
    t_quantile,
)

REFERENCE = Path(__file__).parents[1] / "reference"


def test_t_factors_of_the_guide() -> None:
    # JCGM 100:2008, Table G.2; the cell nu = 35, 90 % is a known misprint (1.70 for 1.69).
    text = (REFERENCE / "gum_table_g2_t_factors.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(line for line in text.splitlines() if line[0] != "#"))
    exact = {"p68.27": 0.682689492, "p95.45": 0.954499736, "p99.73": 0.997300204}
    assert len(rows) >= 25
    for row in rows:
        if not row["nu"].isdigit():
            continue
        for column in ("p68.27", "p90", "p95", "p95.45", "p99", "p99.73"):
            p = exact.get(column, float(column[1:]) / 100)
            if (row["nu"], column) == ("35", "p90"):
                continue
            t = t_quantile((1 + p) / 2, float(row["nu"]))
            assert float(row[column]) == pytest.approx(t, abs=0.00501)


def test_welch_satterthwaite_of_the_guide() -> None:
    # JCGM 100:2008, G.4.1: 0.25 %, 0.57 %, 0.82 % from 10, 5, 15 give 19 degrees of freedom.
    dof = effective_dof(((0.25, 9), (0.57, 4), (0.82, 14)))
    assert dof == pytest.approx(18.99874, abs=1e-4)
    assert coverage_factor(dof) == pytest.approx(2.09, abs=0.005)
    assert effective_dof(((1.0, math.inf),)) == math.inf


def test_probability_of_conformity() -> None:
    # specific risk cases of decision_rules.toml, and one with few degrees of freedom:
    # P(|t| < x) with 2 degrees of freedom is x / sqrt(2 + x²), exactly.
    with (REFERENCE / "decision_rules.toml").open("rb") as file:
        cases = tomllib.load(file)["specific_risk"]["case"]
    for case in cases:
        middle = (case["lower"] + case["upper"]) / 2
        p = probability_within(
            case["mu"] - middle, case["sd"], math.inf, (case["upper"] - case["lower"]) / 2
        )
        assert 1 - p == pytest.approx(case["risk"], abs=1e-5)
    assert probability_within(0.0, 1.0, 2.0, 3.0) == pytest.approx(3 / math.sqrt(11))


def test_f_tends_to_chi_square() -> None:
    # From memory: the upper 5 % point of chi-square with 10 degrees of freedom is 18.307.
    assert f_upper_tail(1.8307, 10, math.inf) == pytest.approx(0.05, abs=1e-4)
    assert f_upper_tail(1.8307, 10, 1e5) == pytest.approx(0.05, abs=1e-3)
    assert f_upper_tail(1.8307, 10, 5.0) > 0.2
