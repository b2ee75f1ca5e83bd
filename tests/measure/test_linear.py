"""The linear core against certified data, the guide's thermometer, and a second method."""

import csv
import tomllib
from pathlib import Path

import numpy as np
import pytest

from asleft.measure.linear import least_squares, residual_sd

REFERENCE = Path(__file__).parents[1] / "reference"


def _columns(name: str) -> np.ndarray:
    text = (REFERENCE / name).read_text(encoding="utf-8")
    rows = list(csv.reader(line for line in text.splitlines() if line[0] != "#"))
    return np.array(rows[1:], dtype=float).T


def _certified(name: str) -> dict[str, float]:
    with (REFERENCE / "nist_strd_certified.toml").open("rb") as file:
        return tomllib.load(file)["regression"][name]


def test_norris() -> None:
    # NIST StRD, Norris: 11 digits and more are asked of double precision.
    x, y = _columns("nist_strd_norris.csv")
    c = _certified("norris")
    fit = least_squares(np.column_stack([np.ones_like(x), x]), y, 1.0)
    s = residual_sd(fit)
    u = s * np.sqrt(np.diag(fit.covariance))
    np.testing.assert_allclose(fit.values, [c["b0"], c["b1"]], rtol=1e-11)
    np.testing.assert_allclose(u, [c["sd_b0"], c["sd_b1"]], rtol=1e-11)
    assert s == pytest.approx(c["residual_sd"], rel=1e-12)


def test_no_intercept() -> None:
    # NIST StRD, NoInt1.
    x, y = _columns("nist_strd_noint1.csv")
    c = _certified("noint1")
    fit = least_squares(x[:, None], y, 1.0)
    assert fit.values[0] == pytest.approx(c["b1"], rel=1e-13)
    assert residual_sd(fit) * fit.covariance[0, 0] ** 0.5 == pytest.approx(c["sd_b1"], rel=1e-12)


def test_thermometer_of_the_guide() -> None:
    # JCGM 100:2008, H.3: y1, y2, their uncertainties and correlation, and b at 30 °C.
    t, b = _columns("gum_h3_thermometer.csv")
    fit = least_squares(np.column_stack([np.ones_like(t), t - 20.0]), b, 1.0)
    c = fit.covariance * residual_sd(fit) ** 2
    assert fit.values[0] == pytest.approx(-0.1712, abs=5e-5)
    assert fit.values[1] == pytest.approx(0.00218, abs=5e-6)
    np.testing.assert_allclose(np.sqrt(np.diag(c)), [0.0029, 0.00067], rtol=0.01)
    assert c[0, 1] / np.sqrt(c[0, 0] * c[1, 1]) == pytest.approx(-0.930, abs=5e-4)
    at = np.array([1.0, 10.0])
    assert np.sqrt(at @ c @ at) == pytest.approx(0.0041, abs=5e-5)


def test_a_prior_is_an_observation() -> None:
    # Second method: normal equations in long form; leverage against its definition.
    rng = np.random.default_rng(1)
    a, y, sd = rng.normal(size=(12, 4)), rng.normal(size=12), rng.uniform(0.5, 2, 12)
    mean, prior = np.array([1.0, 0.0, -1.0, 2.0]), np.array([0.3, np.inf, 2.0, 1.0])
    fit = least_squares(a, y, sd, mean, prior)
    normal = a.T @ np.diag(sd**-2) @ a + np.diag(prior**-2.0)
    c = np.linalg.inv(normal)
    np.testing.assert_allclose(fit.covariance, c, rtol=1e-10)
    np.testing.assert_allclose(fit.values, c @ (a.T @ (y / sd**2) + mean / prior**2), rtol=1e-10)
    np.testing.assert_allclose(fit.leverage, np.einsum("ij,jk,ik->i", a, c, a) / sd**2, rtol=1e-9)


def test_what_is_not_determined_is_refused() -> None:
    with pytest.raises(np.linalg.LinAlgError):
        least_squares(np.ones((3, 2)), np.ones(3), 1.0)
