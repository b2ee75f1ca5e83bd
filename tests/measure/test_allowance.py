"""Tolerance grades against the published table; what to draw, by simulation and by hand."""

import csv
import tomllib
from pathlib import Path

import numpy as np
import pytest

from asleft.errors import InputError
from asleft.measure import Making, Tried, allow, grade_for, grade_width_mm, solve_fit
from asleft.measure.readings import FitReading

REFERENCE = Path(__file__).parents[1] / "reference"


def test_every_cell_of_the_published_table() -> None:
    # ISO 286-1:2010, Table 1, as in the file; the upper limit belongs to the row, the lower not.
    text = (REFERENCE / "iso286_it_grades.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(line for line in text.splitlines() if line[0] != "#"))
    assert len(rows) == 13
    for row in rows:
        for grade in range(5, 19):
            for size in (float(row["to_mm"]), float(row["over_mm"]) + 0.001):
                assert grade_width_mm(size, grade) == float(row[f"IT{grade}"]) / 1000


def test_grades_held_by_a_deviation() -> None:
    with (REFERENCE / "iso286_formula.toml").open("rb") as file:
        worked = tomllib.load(file)["worked"]
    for case in worked:
        assert grade_for(case["size"], case["dev"]) == case["grade"]
    assert grade_for(25.0, 5.0) is None
    assert grade_for(600.0, 0.1) is None
    assert grade_for(0.8, 0.1) is None  # IT14 and wider are not used up to 1 mm
    for size, grade in ((0.0, 8), (501.0, 8), (10.0, 4), (10.0, 19)):
        with pytest.raises(InputError):
            grade_width_mm(size, grade)


SPAN = Making(scale=(0.003, 0.0002), growth_mm=(0.12, 0.03))


def test_what_to_draw_by_hand() -> None:
    # Outside: drawn · 1.003 + 0.12 is to be 25, or 25 less the clearance.
    assert allow("shaft", 25.0, making=SPAN).draw_mm == pytest.approx((25 - 0.12) / 1.003)
    shaft = allow("shaft", 25.0, making=SPAN, clearance_mm=0.1)
    assert shaft.draw_mm == pytest.approx((25 - 0.1 - 0.12) / 1.003)
    assert shaft.as_drawn_mm == pytest.approx(25 * 1.003 + 0.12)
    hole = allow("hole", 8.0, making=SPAN, clearance_mm=0.2)
    assert hole.draw_mm == pytest.approx((8 + 0.2 + 0.12) / 1.003)
    assert allow("length", 140.0, making=SPAN).draw_mm == pytest.approx(140 / 1.003)


@pytest.mark.parametrize(("kind", "sign"), [("shaft", 1), ("hole", -1), ("length", 0)])
def test_what_is_drawn_comes_out_inside(kind: str, sign: int) -> None:
    rng = np.random.default_rng(sign + 5)
    gap = None if kind == "length" else 0.05
    found = allow(kind, 60.0, making=SPAN, clearance_mm=gap)
    n = 4000
    scale, growth = rng.normal(0.003, 0.0002, n), rng.normal(0.12, 0.03, n)
    real = found.draw_mm * (1 + scale) + sign * growth + rng.normal(0, 0.02, n)
    inside = (found.low95_mm <= real) & (real <= found.high95_mm)
    assert np.mean(inside) == pytest.approx(0.95, abs=0.012)
    if gap is not None:
        clear = (60.0 - real) * sign
        assert np.mean(clear > 0) == pytest.approx(found.p_clear, abs=0.025)
        assert (
            np.mean((found.clearance_low95_mm <= clear) & (clear <= found.clearance_high95_mm))
            > 0.93
        )


def test_grades_are_for_outside_sizes_only() -> None:
    shaft = allow("shaft", 25.0, making=SPAN)
    assert shaft.grade is not None and shaft.grade < shaft.grade_as_drawn
    hole = allow("hole", 8.0, making=SPAN)
    assert hole.grade is None and "fit trial" in hole.reason and hole.warnings
    known = Making((0.0, 0.0002), holes=Tried(0.17, 0.02, 8.0, 0.02))
    tried = allow("hole", 8.0, making=known, clearance_mm=0.0)
    assert tried.draw_mm == pytest.approx(8.17)
    assert tried.grade is not None and not tried.warnings and tried.p_clear == 0.5


def test_the_unknown_is_wide_and_said() -> None:
    blind = allow("shaft", 25.0, making=Making())
    assert blind.high95_mm - blind.low95_mm > 0.9
    assert len(blind.warnings) == 2
    assert allow("length", 25.0, making=Making()).warnings == blind.warnings[1:]


def test_findings_become_a_making() -> None:
    tries = [FitReading(8 + c, 8, "refuses" if c < 0.17 else "turns") for c in (0.1, 0.15, 0.2)]
    span = {
        "trial": "span",
        "quantities": [
            {"name": "printed_scale", "axis": a, "value": v, "u": 0.0003}
            for a, v in (("X", 0.004), ("Y", 0.002), ("Z", None))
        ]
        + [{"name": "growth", "axis": a, "value": 0.1, "u": 0.03} for a in ("X", None)],
    }
    found = Making.from_results([span, solve_fit(tries).to_dict()])
    assert found.scale[0] == pytest.approx(0.003) and found.scale[1] > 0.001
    assert found.growth_mm == (0.1, 0.03)
    assert found.holes.clearance_mm == pytest.approx(0.175, abs=0.02)
    assert found.shafts is None
    assert Making.from_results([span], adjusted=True).scale == (0.0, 0.0003)
    assert Making.from_results([]) == Making()


def test_bad_input_is_refused() -> None:
    for kind, size, gap in (
        ("shaft", 0.0, None),
        ("shaft", float("nan"), None),
        ("length", 5.0, 0.1),
        ("hole", 5.0, 4.0),
    ):
        with pytest.raises(InputError):
            allow(kind, size, making=SPAN, clearance_mm=gap)


@pytest.mark.parametrize(("kind", "sign"), [("hole", 1), ("shaft", -1)])
def test_a_fit_trial_rules_at_its_gauge_whatever_the_scale(kind: str, sign: int) -> None:
    # Drawn 0.17 mm off the gauge it just turned: so that is what to draw for no clearance there.
    tried = Tried(0.17, 0.02, 8.0, 0.02, 0.015)
    for scale in (None, (0.01, 0.0002)):
        making = Making(scale, **{f"{kind}s": tried})
        found = allow(kind, 8.0, making=making, clearance_mm=0.0)
        assert found.draw_mm == pytest.approx(8.0 + sign * 0.17)
        assert found.u_mm == pytest.approx(np.hypot(0.02, 0.015))
        assert not found.warnings
    # Another part: how well the gauge was measured does not cancel, and scale counts by 12 mm.
    other = allow(kind, 20.0, making=making, clearance_mm=0.0)
    assert other.u_mm == pytest.approx(np.sqrt(0.02**2 + 0.015**2 + 0.02**2 + (12 * 0.0002) ** 2))
    assert other.draw_mm == pytest.approx(20.0 + sign * 0.17 - 12 * 0.01 / 1.01, abs=1e-9)
    mate = {"hole": "shaft", "shaft": "hole"}[kind]
    assert allow(mate, 8.0, making=making).warnings  # pins say nothing of bores


def test_tries_that_contradict_each_other_make_no_claim() -> None:
    tries = [FitReading(8 + c, 8, w) for c, w in ((0.0, "turns"), (0.1, "refuses"), (0.2, "turns"))]
    result = solve_fit(tries, part="hole").to_dict()
    assert result["proposals"][0]["verdict"] == "inspect"
    assert Making.from_results([result]).holes is None
