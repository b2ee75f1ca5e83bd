"""Errors taken back over changes of settings: every drive, skew, arms, tools; nothing invented.

What settings do is said here by hand (a screw with more steps goes farther), not by the package.
"""

from __future__ import annotations

from typing import Any

import pytest

from asleft.bench.years.events import FINDINGS
from asleft.bench.years.levels import CHARTED, levels_of
from asleft.measure import Tolerance
from asleft.record.history import Measured, Settings

CALIPER = {"name": "bench caliper", "resolution_mm": 0.01, "mpe_mm": 0.03, "reach_mm": 150.0}
ARMS = {"L": 250.0, "R": 125.0}


def settings(x: float = 80.0, y: float = 80.0, e: float = 93.0, **more: Any) -> Settings:
    steps = {"X": x, "Y": y, "Z": 400.0, "E": e}
    return Settings(steps, more.get("skew", {}), more.get("delta", {}))


def measured(k: int, kind: str, *quantities: dict[str, Any], **more: Any) -> Measured:
    at = f"202{k}-05-01T18:00:00.000000Z"
    making = {"name": more.get("making", "cases")}
    return Measured(
        1, more.get("calibration", k), k, kind, at, k, more.get("instrument", CALIPER), making,
        more.get("tolerance", {}), list(quantities),
    )  # fmt: skip


def quantity(name: str, value: float | None, **more: Any) -> dict[str, Any]:
    told = {"name": name, "axis": None, "plane": None, "value": value, "u": 3e-4, "unit": "1"}
    return {**told, **more}


def two(kind: str, one: dict[str, Any], other: dict[str, Any], **states: Any):
    """Levels of two calibrations, on the settings `before` and `after`."""
    rows = [measured(1, kind, one), measured(2, kind, other)]
    kept = {1: states["before"], 2: states["after"]}
    (only,) = levels_of(rows, kept, {}, {1: states.get("drive", "cartesian")})
    return only


def test_more_steps_per_mm_print_larger_and_are_taken_back() -> None:
    found = two(
        "span",
        quantity("printed_scale", -0.0100, axis="X"),
        quantity("printed_scale", 0.0, axis="X"),
        before=settings(),
        after=settings(x=80.0 / 0.99),
    )
    assert [p.level for p in found.points] == pytest.approx([-0.01, -0.01], abs=1e-12)
    assert found.set_since == pytest.approx(0.01, abs=1e-12)


def test_a_bad_trial_made_again_under_the_same_settings_does_not_count() -> None:
    bad, good, after = (
        measured(k, "feed", quantity("fed_ratio", value, axis="E"), calibration=1)
        for k, value in ((1, 0.79), (2, 1.057), (3, 1.0))
    )
    kept = {1: settings(), 2: settings(), 3: settings(e=88.0)}
    (only,) = levels_of([bad, good, after], kept, {}, {})
    assert [p.found for p in only.points] == pytest.approx([0.057])


def test_one_belt_of_two_moves_both_axes_by_half() -> None:
    found = two(
        "span",
        quantity("printed_scale", 0.0, axis="Y"),
        quantity("printed_scale", 0.005, axis="Y"),
        before=settings(),
        after=settings(x=80.8),
        drive="crossed-belt",
    )
    assert found.points[1].level == pytest.approx(0.0, abs=1e-9)


def test_a_longer_radius_of_a_delta_is_taken_back() -> None:
    """Near the middle a carriage rises R/sqrt(L² - R²) for each mm (Pythagoras, by hand)."""

    def rise(radius: float) -> float:
        return float(radius / (ARMS["L"] ** 2 - radius**2) ** 0.5)

    grown = rise(126.25) / rise(125.0) - 1
    assert grown == pytest.approx(0.0134, abs=1e-4)
    found = two(
        "span",
        quantity("printed_scale", 0.0, axis="X"),
        quantity("printed_scale", grown, axis="X"),
        before=settings(delta=ARMS),
        after=settings(delta={**ARMS, "R": 126.25}),
        drive="delta",
    )
    assert found.points[1].level == pytest.approx(0.0, abs=0.05 * grown)


def test_a_skew_factor_takes_its_shear_off() -> None:
    found = two(
        "span",
        quantity("shear", 0.002, plane="XY", unit="rad"),
        quantity("shear", 0.0, plane="XY", unit="rad"),
        before=settings(skew={"XY": 0.0}),
        after=settings(skew={"XY": 0.002}),
    )
    assert [p.level for p in found.points] == pytest.approx([0.002, 0.002], abs=1e-9)


@pytest.mark.parametrize(("axis", "steps"), [("E", {"E0": 93.0}), ("E0", {"E": 93.0})])
def test_one_tool_goes_by_either_name(axis: str, steps: dict[str, float]) -> None:
    after = Settings({name: 1.05 * value for name, value in steps.items()}, {}, {})
    found = two(
        "feed",
        quantity("fed_ratio", 0.95, axis=axis),
        quantity("fed_ratio", 0.9975, axis=axis),
        before=Settings(steps, {}, {}),
        after=after,
    )
    assert [p.level for p in found.points] == pytest.approx([-0.05, -0.05], abs=1e-12)


def test_each_making_has_levels_of_its_own_and_unknowns_have_none() -> None:
    rows = [
        measured(1, "span", quantity("growth", 0.1, unit="mm"), making="cases"),
        measured(2, "span", quantity("growth", 0.2, unit="mm"), making="jigs"),
        measured(3, "span", quantity("growth", None, u=None, unit="mm"), making="cases"),
        measured(4, "span", quantity("shrinkage", 0.001)),
    ]
    found = levels_of(rows, {}, {}, {})
    assert [(each.making, len(each.points)) for each in found] == [("cases", 1), ("jigs", 1)]
    assert not found[0].points[0].settings_known


@pytest.mark.parametrize(("x_then", "as_found"), [(80.08, 0.004), (80.0, 0.001)])
def test_found_is_the_first_trial_and_one_made_again_in_its_place(
    x_then: float, as_found: float
) -> None:
    rows = [
        measured(1, "span", quantity("printed_scale", 0.004, axis="X"), calibration=7),
        measured(2, "span", quantity("printed_scale", 0.001, axis="X"), calibration=7),
    ]
    (found,) = levels_of(rows, {1: settings(x=80.0), 2: settings(x=x_then)}, {}, {})
    assert [p.found for p in found.points] == [as_found]


def test_now_is_what_a_later_calibration_of_something_else_left() -> None:
    rows = [measured(1, "span", quantity("printed_scale", 0.0, axis="X")), measured(2, "feed")]
    kept = {1: settings(), 2: settings(x=80.8)}
    (found,) = levels_of(rows, kept, {1: 1, 2: 2}, {})
    assert found.set_since == pytest.approx(0.01, abs=1e-12)
    assert found.points[0].left == 0.0


def test_the_calipers_share_is_no_scatter() -> None:
    row = quantity("printed_scale", 0.0, axis="X", u=2e-4)
    (found,) = levels_of([measured(1, "span", row)], {}, {}, {})
    series = found.series("regulator")
    own = 0.03 / (3**0.5 * 150)  # JCGM 100, 4.3.7: MPE over the reach, rectangular
    assert series.instrument_u[0] == pytest.approx(own)
    assert series.u[0] == pytest.approx((2e-4**2 - own**2) ** 0.5)


def test_an_instrument_nobody_described_adds_nothing() -> None:
    row = measured(1, "span", quantity("printed_scale", 0.0, axis="X"), instrument={"mpe_mm": -1})
    (found,) = levels_of([row], {}, {}, {})
    assert found.points[0].instrument_u == 0.0 and found.points[0].instrument == ""


def test_groups_and_tolerances_are_known_ones() -> None:
    for (trial, _), charted in CHARTED.items():
        assert charted.group in FINDINGS[trial]
        assert charted.tolerance is None or charted.tolerance in Tolerance().to_dict()
