"""Verdicts, misreads and arithmetic of the trade against published rules and examples.

JCGM 106, ISO 14253-1, ILAC-G8 and others as tests/reference says, with its memory marks.
"""

import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from asleft.measure import FeedReading, Instrument, SpanReading, solve_feed, solve_span
from asleft.measure.chance import probability_below, probability_within, t_quantile
from asleft.measure.span.misread import find_misreads
from asleft.measure.verdict import Evidence, judge

REFERENCE = Path(__file__).parents[1] / "reference"
INF = float("inf")


def _toml(name: str) -> dict:
    with (REFERENCE / name).open("rb") as file:
        return tomllib.load(file)


RULES = _toml("decision_rules.toml")


def _evidence(error: float, u: float, tolerance: float) -> Evidence:
    return Evidence(
        error=error,
        u=u,
        dof=INF,
        tolerance=tolerance,
        u_readings=u,
        readings=10,
        largest="the scatter",
        remedy="",
        unit="mm",
    )


def test_conformance_probabilities() -> None:
    # JCGM 106:2012, Table 1 and the breakdown voltage of 7.3 (values from memory, recomputed).
    table = RULES["jcgm106_table1"]
    for p, z in zip(table["pc"], table["recomputed"], strict=True):
        assert probability_below(z, INF) == pytest.approx(p, abs=1e-7)
    zener = RULES["jcgm106_zener"]
    p = probability_below((zener["upper_limit"] - zener["y"]) / zener["u"], INF)
    assert p == pytest.approx(zener["recomputed"], abs=1e-6)


def test_risks_of_a_production() -> None:
    # JCGM 106:2012, 9.5.4: resistors; consumer's and producer's risk by our probabilities.
    r = RULES["jcgm106_resistors"]
    limit, accept = r["tolerance"][1] - r["nominal"], r["acceptance"][1] - r["nominal"]
    true = np.linspace(-8 * r["process_sd"], 8 * r["process_sd"], 4001)
    density = np.exp(-((true / r["process_sd"]) ** 2) / 2)
    density /= density.sum()
    accepted = np.array([probability_within(t, r["measurement_u"], INF, accept) for t in true])
    good = np.abs(true) <= limit
    assert density[good].sum() == pytest.approx(r["recomputed"]["conforming"], abs=2e-3)
    assert (density * accepted)[~good].sum() == pytest.approx(r["recomputed"]["consumer"], abs=2e-4)
    assert (density * (1 - accepted))[good].sum() == pytest.approx(
        r["recomputed"]["producer"], abs=1e-3
    )


def test_guard_bands() -> None:
    # ILAC-G8:09/2019: risk at the limit of each rule; JCGM 106, 8.3.2: 2.3 % for w = U.
    g8 = RULES["ilac_g8_2019"]
    for w, risk in zip(g8["w_over_U"], g8["recomputed_at_the_limit"], strict=True):
        assert 1 - probability_below(2 * w, INF) == pytest.approx(risk, rel=1e-3)
    guarded = RULES["guarded_acceptance"]
    p = probability_within(1.0 - guarded["w_over_u"] * 0.01, 0.01, INF, 1.0)
    assert 1 - p == pytest.approx(guarded["recomputed"], abs=1e-7)


def test_leave_accepts_as_the_standard_does() -> None:
    # ISO 14253-1:2017: conformance is shown where the error is 1.65 u inside the limit.
    guard = RULES["iso14253_1"]["guard_factor_u"]
    u, tolerance = 0.01, 1.0
    for side in (1, -1):
        inside = judge(_evidence(side * (tolerance - (guard + 0.01) * u), u, tolerance))
        outside = judge(_evidence(side * (tolerance - (guard - 0.02) * u), u, tolerance))
        assert inside.verdict == "leave"
        assert outside.verdict != "leave"
        assert inside.p_now >= 1 - RULES["iso14253_1"]["one_sided_risk"] - 1e-3


def test_verdicts_agree_with_the_three_way_rule_where_it_decides() -> None:
    # Accept, reject, cannot tell (published practice citing ISO 14253-1).
    rule = RULES["three_way_rule"]
    expected = {"conforms": {"leave"}, "does not conform": {"adjust"}}
    for dev, words in zip(rule["dev"], rule["verdict"], strict=True):
        verdict = judge(_evidence(dev, rule["U"] / 2, rule["T"])).verdict
        assert verdict in expected.get(words, {"leave", "adjust", "measure_more"})


def test_the_outlier_of_tietjen_and_moore() -> None:
    # NIST/SEMATECH e-Handbook, 1.3.5.17.1: 245.57 is an outlier, the seven others are not.
    grubbs = _toml("nist_handbook_examples.toml")["grubbs"]
    values = np.array(grubbs["values"])
    found = find_misreads(
        np.ones((values.size, 1)),
        values,
        np.zeros(1),
        np.array([1e4]),
        np.zeros(values.size, dtype=bool),
    )
    assert values[~found.kept].tolist() == [grubbs["outlier"]]
    n = grubbs["n"]
    for share, critical in ((n, "one_sided"), (2 * n, "two_sided")):
        t = t_quantile(1 - 0.05 / share, n - 2)
        limit = (n - 1) / np.sqrt(n) * np.sqrt(t**2 / (n - 2 + t**2))
        assert limit == pytest.approx(grubbs[f"critical_{critical}_05"], abs=5e-4)


def test_sheared_squares_are_measured() -> None:
    # Parallelogram law (squareness.toml, computed cases of equal sides), through the solver.
    cases = [c for c in _toml("squareness.toml")["computed"] if c["a"] == c["b"]]
    for case in cases:
        side, w = case["a"], 12.0
        rows = []
        for d, size in (("XY+", case["d1"]), ("XY-", case["d2"])):
            drawn = side * 2**0.5
            for f, more in (("outside", w), ("inside", -w)):
                stretch = size / drawn
                rows += [SpanReading(d, f, drawn + more, (drawn + more) * stretch, f"{d} {f} {k}")
                         for k in range(4)]  # fmt: skip
        y = np.cos(np.radians(case["angle_deg"]))
        for d, stretch in (("X", 1.0), ("Y", y)):
            for f, more in (("outside", w), ("inside", -w)):
                rows += [SpanReading(d, f, side + more, (side + more) * stretch, f"{d} {f} {k}")
                         for k in range(4)]  # fmt: skip
        # The caliper's zero and scale cancel in the difference of the diagonals, to 2 µrad.
        for zero, scale in ((0.0, 0.0), (0.05, 0.0), (0.0, 1e-4)):
            read = [replace(r, reading_mm=r.reading_mm * (1 + scale) + zero) for r in rows]
            found = solve_span(read, instrument=Instrument(), in_force={}, skew=None)
            shear = next(q for q in found.quantities if q.name == "shear")
            # Both sides keep their length, so the shear is the tangent of the angle.
            assert np.arctan(shear.value) == pytest.approx(np.radians(case["angle_deg"]), abs=2e-6)


def test_steps_by_geometry_and_by_rule() -> None:
    # 200·16/(2·20) = 80 and 200·16/8 = 400 steps per mm; new = old · commanded / measured.
    trade = _toml("motion_and_filament.toml")["steps_per_mm"]
    geometry = {"X": 200 * 16 / (2 * 20), "Z": 200 * 16 / 8}
    assert geometry == {"X": trade["belt_2mm_20_tooth_16"], "Z": trade["screw_8mm_lead_16"]}
    x = trade["example"]
    ratio = x["measured"] / x["commanded"]
    rows = [SpanReading("X", f, n, n * ratio, f"{f} {k}")
            for f, n in (("outside", 107.0), ("inside", 83.0)) for k in range(4)]  # fmt: skip
    found = solve_span(rows, instrument=Instrument(), in_force={"X": x["old"]}, skew=None,
                       geometry=geometry)  # fmt: skip
    p = next(p for p in found.proposals if p.setting == "steps_per_mm")
    assert p.proposed == pytest.approx(x["old"], rel=1e-5)  # by geometry the rest is shrinkage
    assert "design gives 80" in p.reason
    alone = solve_span(rows, instrument=Instrument(), in_force={"X": x["old"]}, skew=None)
    p = next(p for p in alone.proposals if p.setting == "steps_per_mm")
    assert p.proposed == pytest.approx(x["new"], rel=1e-6)
    e = trade["extruder_example"]
    fed = [FeedReading(e["commanded"], e["measured"] + d) for d in (0.05, -0.05, 0.05, -0.05)]
    (p,) = solve_feed(fed, instrument=Instrument(), in_force=e["old"]).proposals
    assert p.proposed == pytest.approx(e["new"], rel=1e-12)
