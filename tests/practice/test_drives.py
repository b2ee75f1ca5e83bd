"""Crossed belts and deltas against closed formulas, worked out here anew.

Where a figure has no source beside it, it follows from the formula in the test.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from asleft.practice.body.arms import TOWER_DEGREES, Arms, Delta, Geometry, geometry
from asleft.practice.body.drives import Cartesian, CrossedBelts, build_drive, plane_errors
from asleft.practice.body.truth import draw_truth
from asleft.practice.words.settings import DELTA, FACTORY, Settings

TRUE = draw_truth(np.random.default_rng(1))
L, R, H = (DELTA["M665"][letter] for letter in "LRH")
NONE = dict.fromkeys("XYZ", 0.0)
RIGHT = Arms(step_error=0.0, arm_mm=L, radius_mm=R, turned=NONE, further_mm=NONE)


class NoPaper:
    """Chance of a person who levels without error."""

    def normal(self, *_: object) -> float:
        return 0.0


def delta(**wrong: object) -> Delta:
    return Delta(DELTA, replace(RIGHT, **wrong), NoPaper())  # type: ignore[arg-type]


def ring(drive: Delta, radius_mm: float, held: dict[str, dict[str, float]] = DELTA) -> float:
    """Mean height over a circle, above the middle's."""
    heights = [
        drive.reached(held, (radius_mm * math.cos(a), radius_mm * math.sin(a), 0.0))[2]
        for a in np.linspace(0, 2 * math.pi, 36, endpoint=False)
    ]
    return float(np.mean(heights)) - drive.reached(held, (0.0, 0.0, 0.0))[2]


def local(drive: Delta, held: dict[str, dict[str, float]] = DELTA) -> tuple[float, float]:
    """Scale errors of X and Y near the middle, over 2 mm."""
    x = [drive.reached(held, (at, 0.0, 0.0))[0] for at in (-1.0, 1.0)]
    y = [drive.reached(held, (0.0, at, 0.0))[1] for at in (-1.0, 1.0)]
    return (x[1] - x[0]) / 2 - 1, (y[1] - y[0]) / 2 - 1


def belts(a: float, b: float, *, shear: float = 0.0) -> CrossedBelts:
    errors = {**TRUE.step_error, "X": a, "Y": b, "Z": 0.0}
    return CrossedBelts(replace(TRUE, step_error=errors, shear=shear), FACTORY, belts=0.0)


def test_unequal_pulleys_show_as_shear_and_not_as_a_difference_of_x_and_y():
    """±0.4 and ∓0.2 %: x is lengthened by their mean, and leans by their difference, 0.0060."""
    for sign in (1, -1):
        scale, shear = plane_errors(belts(sign * 0.004, -sign * 0.002), FACTORY, (110, 110, 0.2))
        assert shear == pytest.approx(sign * 0.0060, abs=3e-5)
        assert scale["X"] == pytest.approx(sign * 0.001, abs=2e-5)
        assert scale["Y"] == pytest.approx(sign * 0.001, abs=2e-5)


def test_one_pulley_moves_both_axes():
    """Motor A alone, 1 % too far: along x the carriage goes (1.01 + 1)/2 and 0.005 sideways."""
    drive = belts(0.01, 0.0)
    assert drive.reached(FACTORY, (100.0, 0.0, 0.0)) == pytest.approx((100.5, 0.5, 0.0))
    assert drive.reached(FACTORY, (0.0, 100.0, 0.0)) == pytest.approx((0.5, 100.5, 0.0))


def test_the_skew_factor_takes_the_belts_shear_away():
    drive = belts(0.004, -0.002)
    scale, shear = plane_errors(drive, FACTORY, (110, 110, 0.2))
    factor = shear * (1 + scale["Y"]) / (1 + scale["X"])
    held = {**FACTORY, "M852": {"I": factor, "J": 0.0, "K": 0.0}}
    after, left = plane_errors(drive, held, (110, 110, 0.2))
    assert abs(left) < 1e-9 and after["X"] == pytest.approx(scale["X"])


def test_setting_both_motors_alike_changes_x_and_y_alike_and_no_shear():
    drive = belts(0.004, -0.002, shear=0.001)
    before, lean = plane_errors(drive, FACTORY, (110, 110, 0.2))
    held = {**FACTORY, "M92": {**FACTORY["M92"], "X": 80 * 0.999, "Y": 80 * 0.999}}
    after, still = plane_errors(drive, held, (110, 110, 0.2))
    assert still == pytest.approx(lean, rel=1e-9)
    for axis in "XY":
        assert (1 + after[axis]) / (1 + before[axis]) == pytest.approx(0.999, rel=1e-9)


def test_a_cartesian_has_the_errors_it_was_drawn_with():
    scale, shear = plane_errors(Cartesian(TRUE, FACTORY), FACTORY, (110, 110, 0.2))
    assert shear == pytest.approx(TRUE.shear, abs=1e-12)
    assert scale == pytest.approx({a: TRUE.step_error[a] for a in "XYZ"}, abs=1e-12)


def test_carriages_and_place_are_each_others_inverse():
    rng = np.random.default_rng(3)
    arms = np.array([L, L * 1.003, L * 0.996])
    towers = geometry(L, R, dict(zip("XYZ", rng.normal(0, 0.5, 3), strict=True))).towers_mm
    bent = Geometry(towers, arms)
    for _ in range(50):
        at = (*rng.uniform(-80, 80, 2), rng.uniform(0, 200))
        assert bent.place(bent.heights(at)) == pytest.approx(at, abs=1e-9)  # type: ignore[arg-type]


def test_a_delta_that_is_right_goes_where_it_is_sent():
    for at in ((0.0, 0.0, 0.0), (60.0, -40.0, 10.0), (-70.0, 20.0, 120.0)):
        assert delta().reached(DELTA, at) == pytest.approx(at, abs=1e-6)


def curvature(arm_mm: float) -> float:
    """How much the carriages fall short, all round, at a distance r from the middle: κ·r²/2.

    √(L² - |p - t|²) to the second order in p, meaned over the angle, with h = √(L² - R²):
    κ = 1/h + R²/(2h³).
    """
    h = math.sqrt(arm_mm**2 - R**2)
    return 1 / h + R**2 / (2 * h**3)


def test_arms_wrong_by_four_in_a_thousand_widen_the_plane_and_bow_the_bed():
    """L 268, R 140 (ours): a carriage's height changes with x by R/√(L² - R²) at the middle.

    So arms longer by e widen the plane by e·L²/(L² - R²) = 0.4 % · 1.375 = 0.55 %, and the bed
    bows by (κ_true·(1 + 0.55 %)² - κ_assumed)·r²/2: 0.053 mm at 72 mm, higher orders included.
    """
    drive = delta(arm_mm=L * 1.004)
    expected = 0.004 * L**2 / (L**2 - R**2)
    assert expected == pytest.approx(0.0055, abs=5e-6)
    assert local(drive) == pytest.approx((expected, expected), rel=0.01)
    bow = curvature(L * 1.004) * (1 + expected) ** 2 - curvature(L)
    assert ring(drive, 20.0) == pytest.approx(bow * 20**2 / 2, rel=0.02)
    assert ring(drive, 72.0) == pytest.approx(0.053, abs=0.0005)


def test_the_radius_works_the_other_way():
    """R/√(L² - R²) by its derivative: a radius longer by e narrows by e·L²/(L² - R²)."""
    drive = delta(radius_mm=R * 1.004)
    expected = -0.004 * L**2 / (L**2 - R**2)
    assert local(drive) == pytest.approx((expected, expected), rel=0.015)


def test_steps_scale_the_height_exactly_and_the_plane_about_equally_at_the_middle():
    """All carriages travel 0.3 % too far: heights are exactly so, the plane by the first order."""
    drive = delta(step_error=0.003)
    low, high = (drive.reached(DELTA, (0.0, 0.0, z))[2] for z in (0.0, 100.0))
    assert high - low == pytest.approx(100.3, abs=1e-6)
    x, y = local(drive)
    assert x == pytest.approx(0.003, rel=0.02) and y == pytest.approx(x, abs=1e-5)


def test_arms_and_radius_as_they_truly_are_put_everything_right():
    drive = delta(arm_mm=L * 1.003, radius_mm=R * 0.998)
    told = {**DELTA["M665"], "L": L * 1.003, "R": R * 0.998}
    held = {**DELTA, "M665": told}
    drive.level(held)
    for at in ((0.0, 0.0, 0.0), (50.0, 30.0, 5.0), (-40.0, 60.0, 80.0)):
        assert drive.reached(held, at) == pytest.approx(at, abs=1e-6)


def test_a_person_levels_below_the_towers_and_leaves_the_bowl():
    drive = delta(arm_mm=L * 1.004)
    for angle in map(math.radians, TOWER_DEGREES.values()):
        at = (80.0 * math.cos(angle), 80.0 * math.sin(angle), 0.0)
        assert drive.reached(DELTA, at)[2] == pytest.approx(0.0, abs=1e-4)
    assert drive.reached(DELTA, (0.0, 0.0, 0.0))[2] < -0.04


def test_a_trim_lowers_its_own_tower_alone():
    drive = delta()
    held = {**DELTA, "M666": {"X": -0.5, "Y": 0.0, "Z": 0.0}}
    angles = {name: math.radians(degrees) for name, degrees in TOWER_DEGREES.items()}
    height = {
        name: drive.reached(held, (80 * math.cos(a), 80 * math.sin(a), 0.0))[2]
        for name, a in angles.items()
    }
    assert height["X"] < -0.3 < max(height["Y"], height["Z"])


@pytest.mark.parametrize("name", ["crossed-belt", "delta"])
def test_a_drive_is_drawn_from_its_seed(name):
    found = Settings(factory=DELTA if name == "delta" else FACTORY).in_force
    told = [
        build_drive(name, TRUE, found, np.random.default_rng(seed)).told() for seed in (1, 1, 2)
    ]
    assert told[0] == told[1] != told[2]


def test_deltas_are_drawn_in_the_stated_sizes():
    """Ours: steps, arms and radius 0.2 % rms each, so the plane is off by √(1 + 2·1.375²)·0.2 %."""
    errors = []
    for seed in range(120):
        drive = build_drive("delta", TRUE, DELTA, np.random.default_rng([seed, 5]))
        errors.append(plane_errors(drive, DELTA, (0.0, 0.0, 0.2))[0])
    across = np.array([e["X"] for e in errors])
    assert np.sqrt((across**2).mean()) == pytest.approx(0.0044, rel=0.2)
    assert np.std([e["Z"] for e in errors]) == pytest.approx(0.002, rel=0.2)
