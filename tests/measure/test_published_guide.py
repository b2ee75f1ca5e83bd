"""Worked examples of the guide to uncertainty, and of a calliper's calibration.

JCGM 100:2008 by clause; EA-4/02 S10 from memory, as its file says. Where the room has no function
for a step of an example, the test does that step in the open.
"""

import csv
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from asleft.measure import FeedReading, Instrument, solve_feed
from asleft.measure.chance import coverage_factor, effective_dof, f_upper_tail, t_quantile
from asleft.measure.linear import least_squares, residual_sd

REFERENCE = Path(__file__).parents[1] / "reference"


@pytest.fixture(scope="module")
def guide() -> dict:
    with (REFERENCE / "gum_examples.toml").open("rb") as file:
        return tomllib.load(file)


def test_gauge_block(guide) -> None:
    # H.1: contributions in nm with their degrees of freedom give 16.7, and 93 nm at 99 %.
    h1 = guide["h1"]
    ls, alpha, temperature = h1["contributions_nm"][0], h1["u_dalpha"], h1["u_dtheta"]
    parts = (
        (ls, h1["u_ls"][1]),
        (h1["u_d_combined"][0], h1["u_d_combined"][1]),
        (h1["contributions_nm"][2], alpha[1]),
        (h1["contributions_nm"][3], temperature[1]),
    )
    dof = effective_dof(parts)
    assert dof == pytest.approx(h1["veff"], abs=0.1)
    assert math.hypot(*(u for u, _ in parts)) == pytest.approx(31.66, abs=0.05)
    k = t_quantile(0.995, math.floor(dof))
    assert k == pytest.approx(h1["k99"], abs=0.005)
    # The guide multiplies the rounded 32 nm.
    assert k * h1["uc_nm"] == pytest.approx(h1["U99_nm"], abs=0.5)
    repeat, random, systematic = h1["u_d_repeat"], h1["u_d_random"], h1["u_d_systematic"]
    comparator = effective_dof((tuple(repeat), tuple(random), tuple(systematic)))
    # Printed from unrounded parts; the rounded ones here give 25.4.
    assert comparator == pytest.approx(h1["u_d_combined"][1], abs=0.2)


def test_analysis_of_variance(guide) -> None:
    # H.5: ten days of five observations; the day matters at 5 %, not at 2.5 %.
    h5 = guide["h5"]
    text = (REFERENCE / "gum_h5_voltage.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(line for line in text.splitlines() if line[0] != "#"))
    means = np.array([float(r["mean_v"]) for r in rows])
    within = np.sqrt(np.mean([float(r["sd_uv"]) ** 2 for r in rows]))
    fit = least_squares(np.ones((10, 1)), means, 1.0)
    days = residual_sd(fit) * 1e6
    assert fit.values[0] == pytest.approx(h5["mean_v"], abs=5e-7)
    assert days == pytest.approx(h5["s_day_means_uv"], abs=0.5)
    assert within == pytest.approx(h5["s_pooled_within_uv"], abs=0.5)
    f = 5 * days**2 / within**2
    assert f == pytest.approx(h5["f"], abs=0.03)
    assert 0.025 < f_upper_tail(f, 9, 40) < 0.05
    assert f_upper_tail(h5["recomputed"]["f95"], 9, 40) == pytest.approx(0.05, abs=1e-4)
    assert f_upper_tail(h5["recomputed"]["f975"], 9, 40) == pytest.approx(0.025, abs=1e-4)
    u = days * math.sqrt(fit.covariance[0, 0])
    assert u == pytest.approx(h5["u_mean_uv_with_day_effect"], abs=0.5)


def test_twenty_observations(guide) -> None:
    # 4.4.3: the mean of twenty temperatures and its standard uncertainty.
    a = guide["type_a_443"]
    fit = least_squares(np.ones((20, 1)), np.array(a["values"]), 1.0)
    s = residual_sd(fit)
    assert fit.values[0] == pytest.approx(a["mean"], abs=5e-4)
    assert s == pytest.approx(a["s"], abs=5e-4)
    assert s * math.sqrt(fit.covariance[0, 0]) == pytest.approx(a["s_mean"], abs=5e-4)


def test_type_a_of_a_feed(guide) -> None:
    # The same twenty as fed lengths of 100 mm: the solver's scatter line is 4.4.3's s and s/√n.
    a = guide["type_a_443"]
    fine = Instrument(resolution_mm=1e-4, mpe_mm=1e-6)
    found = solve_feed([FeedReading(100.0, v) for v in a["values"]], instrument=fine, in_force=1.0)
    line = next(b for b in found.budget if b.kind == "A")
    assert 100 * line.u == pytest.approx(a["s"], abs=5e-4)
    assert 100 * line.contribution == pytest.approx(a["s_mean"], abs=5e-4)
    q = found.quantities[0]
    assert (q.high95 - q.value) / q.u == pytest.approx(coverage_factor(19), rel=1e-4)


def test_data_sheets_become_standard_uncertainties(guide) -> None:
    # 4.3.7 and F.2.2.1: a/√3 for a limit, r/√12 for a last digit.
    d = guide["type_b_divisors"]
    caliper = Instrument(resolution_mm=0.01, mpe_mm=0.03, reach_mm=150.0)
    assert caliper.zero_sd_mm == pytest.approx(d["limit_0_03"], rel=1e-12)
    assert caliper.rounding_sd_mm == pytest.approx(d["step_0_01"], rel=1e-12)
    assert Instrument(mpe_mm=0.02).zero_sd_mm == pytest.approx(d["limit_0_02"], rel=1e-12)
    assert caliper.scale_sd == pytest.approx(d["limit_0_03"] / 150, rel=1e-12)


def test_calliper_budget(guide) -> None:
    # EA-4/02, S10 (from memory): 0.05 mm of scale interval, ±0.05 mm of mechanical effects.
    s10 = guide["ea_4_02_s10_caliper"]
    block, warmth, digit, mechanical = s10["recomputed"]["contributions"]
    vernier = Instrument(resolution_mm=0.05, mpe_mm=0.05)
    assert 1000 * vernier.rounding_sd_mm == pytest.approx(digit, abs=1e-3)
    assert 1000 * vernier.zero_sd_mm == pytest.approx(mechanical, abs=1e-3)
    u = math.hypot(block, warmth, 1000 * vernier.rounding_sd_mm, 1000 * vernier.zero_sd_mm)
    assert u == pytest.approx(s10["recomputed"]["uc_unrounded"], abs=0.01)
    assert u == pytest.approx(s10["uc_um"], abs=0.8)
