"""The span model: derivatives, signs, and the squareness identities."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from asleft.measure import SpanReading
from asleft.measure.span.design import PARAMETERS, Places, model, printed_map, unit_direction

REFERENCE = Path(__file__).parents[1] / "reference"
DIRECTIONS = ("X", "Y", "Z", "XY+", "XY-", "XZ+", "XZ-", "YZ+", "YZ-")


def _everywhere() -> Places:
    return Places.of(
        [
            SpanReading(d, f, length, length)
            for d in DIRECTIONS
            for f in ("outside", "inside", "same")
            for length in (20.0, 134.0)
        ]
    )


@pytest.mark.parametrize("changed", [False, True])
def test_derivatives_are_those_of_the_model(changed: bool) -> None:
    rng = np.random.default_rng(2)
    settings = np.eye(3) + rng.normal(0, 0.01, (3, 3)) if changed else None
    theta = rng.normal(0, 0.01, len(PARAMETERS))
    places = _everywhere()
    _, slopes = model(places, theta, settings)
    for k in range(len(PARAMETERS)):
        step = np.zeros(len(PARAMETERS))
        step[k] = 1e-6
        up, down = (model(places, theta + s * step, settings)[0] for s in (1, -1))
        np.testing.assert_allclose(slopes[:, k], (up - down) / 2e-6, atol=1e-6)


def test_positive_shear_makes_the_plus_diagonal_longer() -> None:
    # Parallelogram identity for a square: sin e = (d1² − d2²)/(4ab); squareness.toml, computed
    # cases with equal sides. γ is the tangent of e.
    with (REFERENCE / "squareness.toml").open("rb") as file:
        cases = [c for c in tomllib.load(file)["computed"] if c["a"] == c["b"]]
    assert len(cases) >= 3
    for case in cases:
        angle = np.radians(case["angle_deg"])
        theta = np.zeros(len(PARAMETERS))
        # Both sides of the sheared square keep their length a.
        theta[PARAMETERS.index("shear_XY")] = np.tan(angle)
        theta[PARAMETERS.index("scale_Y")] = np.cos(angle) - 1
        length = case["a"] * 2**0.5
        rows = [SpanReading(d, "same", length, length) for d in ("XY+", "XY-")]
        found, _ = model(Places.of(rows), theta)
        np.testing.assert_allclose(found, [case["d1"], case["d2"]], rtol=1e-12)


def test_signs_of_the_constants() -> None:
    theta = np.zeros(len(PARAMETERS))
    for name, value in (("growth", 0.2), ("growth_difference", 0.03), ("first_layer", -0.1)):
        theta[PARAMETERS.index(name)] = value
    expected = {
        ("X", "outside"): 100.23,
        ("X", "inside"): 99.77,
        ("X", "same"): 100.0,
        ("Y", "outside"): 100.17,
        ("XY+", "outside"): 100.2,
        ("XY-", "inside"): 99.8,
        ("Z", "outside"): 99.9,
        ("Z", "same"): 100.0,
    }
    rows = [SpanReading(d, f, 100.0, 100.0) for d, f in expected]
    found, _ = model(Places.of(rows), theta)
    np.testing.assert_allclose(found, list(expected.values()), atol=1e-12)


def test_the_map_is_built_as_written() -> None:
    theta = np.zeros(len(PARAMETERS))
    theta[:4] = 0.01, -0.02, 0.03, 0.005
    np.testing.assert_allclose(
        printed_map(theta), [[1.01, 0.005 * 0.98, 0], [0, 0.98, 0], [0, 0, 1.03]]
    )
    for d in DIRECTIONS:
        assert np.linalg.norm(unit_direction(d)) == pytest.approx(1.0)
