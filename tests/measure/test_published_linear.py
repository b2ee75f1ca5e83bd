"""The linear core against certified data sets and published calibration lines.

Sources stand beside each test; the files under tests/reference say where each was read.
"""

import csv
import tomllib
from pathlib import Path

import numpy as np
import pytest

from asleft.measure.chance import f_upper_tail, t_quantile
from asleft.measure.linear import least_squares, residual_sd

REFERENCE = Path(__file__).parents[1] / "reference"


def _columns(name: str) -> np.ndarray:
    text = (REFERENCE / name).read_text(encoding="utf-8")
    rows = list(csv.reader(line for line in text.splitlines() if line[0] != "#"))
    return np.array(rows[1:], dtype=float).T


def _table(name: str, *keys: str) -> dict:
    with (REFERENCE / name).open("rb") as file:
        found = tomllib.load(file)
    for key in keys:
        found = found[key]
    return found


def _digits(found: float, certified: float) -> float:
    """Log relative error, as the data sets' own page counts digits; 15 at most."""
    return min(15.0, -float(np.log10(max(abs(found - certified) / abs(certified), 1e-15))))


def _polynomial(x: np.ndarray, degree: int, first: int = 0) -> np.ndarray:
    return np.column_stack([x**k for k in range(first, degree + 1)])


@pytest.mark.parametrize(
    ("name", "degree", "first", "digits"),
    # Digits that Householder QR in doubles can give: fewer where powers are nearly collinear.
    [("norris", 1, 0, 12), ("noint1", 1, 1, 13), ("noint2", 1, 1, 14), ("pontius", 2, 0, 11)],
)
def test_certified_regressions(name: str, degree: int, first: int, digits: int) -> None:
    # NIST StRD, linear least squares.
    x, y = _columns(f"nist_strd_{name}.csv")
    c = _table("nist_strd_certified.toml", "regression", name)
    fit = least_squares(_polynomial(x, degree, first), y, 1.0)
    s = residual_sd(fit)
    u = s * np.sqrt(np.diag(fit.covariance))
    for k in range(first, degree + 1):
        assert _digits(fit.values[k - first], c[f"b{k}"]) >= digits
        assert _digits(u[k - first], c[f"sd_b{k}"]) >= digits
    assert _digits(s, c["residual_sd"]) >= digits


def test_certified_exact_polynomial() -> None:
    # NIST StRD, Wampler1: degree 5, all coefficients 1, no residual.
    x, y = _columns("nist_strd_wampler1.csv")
    fit = least_squares(_polynomial(x, 5), y, 1.0)
    assert min(_digits(b, 1.0) for b in fit.values) >= 8
    assert residual_sd(fit) < 1e-8


@pytest.mark.parametrize(
    ("name", "digits"), [("michelso", 13), ("mavro", 11), ("lew", 14), ("numacc1", 15)]
)
def test_certified_means(name: str, digits: int) -> None:
    # NIST StRD, univariate: a mean is the fit of one constant.
    c = _table("nist_strd_certified.toml", "univariate", name)
    y = np.array(c["values"]) if "values" in c else _columns(f"nist_strd_{name}.csv")[0]
    fit = least_squares(np.ones((y.size, 1)), y, 1.0)
    assert _digits(fit.values[0], c["mean"]) >= min(digits, 14)
    assert _digits(residual_sd(fit), c["sd"]) >= digits - 4


def test_certified_mean_of_nearly_equal_numbers() -> None:
    # NIST StRD, NumAcc4: eight digits are what doubles can give here.
    c = _table("nist_strd_certified.toml", "univariate", "numacc4")
    y = np.array([c["first"], *(c["pair"] * c["pairs"])])
    fit = least_squares(np.ones((y.size, 1)), y, 1.0)
    assert _digits(fit.values[0], c["mean"]) >= 14
    assert _digits(residual_sd(fit), c["sd"]) >= 7


def test_certified_analysis_of_variance() -> None:
    # NIST StRD, SiRstv: group means as a fit, F from the two residual sums.
    group, y = _columns("nist_strd_sirstv.csv")
    c = _table("nist_strd_certified.toml", "anova", "sirstv")
    within = least_squares((group[:, None] == np.unique(group)).astype(float), y, 1.0)
    alone = least_squares(np.ones((y.size, 1)), y, 1.0)
    ss_within = float(within.residuals @ within.residuals)
    between = (float(alone.residuals @ alone.residuals) - ss_within) / c["df_between"]
    f = between / residual_sd(within) ** 2
    assert _digits(residual_sd(within), c["residual_sd"]) >= 11
    assert _digits(f, c["f_statistic"]) >= 9


def test_linewidth_calibration() -> None:
    # NIST/SEMATECH e-Handbook, 2.3.6.7.3: line, standard errors and covariance as printed there.
    x, y = _columns("nist_handbook_linewidth_calibration.csv")
    c = _table("nist_handbook_examples.toml", "linewidth_calibration")
    fit = least_squares(_polynomial(x, 1), y, 1.0)
    s = residual_sd(fit)
    cov = fit.covariance * s**2
    assert fit.values == pytest.approx([c["a"], c["b"]], rel=2e-7)
    assert np.sqrt(np.diag(cov)) == pytest.approx([c["se_a"], c["se_b"]], rel=2e-7)
    assert cov[0, 1] == pytest.approx(c["cov_ab"], rel=2e-7)
    assert s == pytest.approx(c["residual_sd"], abs=5e-6)
    a, b = fit.values
    for seen, u in zip(c["inverse_y"], c["inverse_u"], strict=True):
        # Propagation with the covariance (JCGM 100, 5.2): derivatives of (y − a)/b.
        slopes = np.array([-1 / b, -(seen - a) / b**2])
        assert np.sqrt(slopes @ cov @ slopes + (s / b) ** 2) == pytest.approx(u, rel=1e-5)


def test_linewidth_control_chart() -> None:
    # e-Handbook, 2.3.7.1: the fourth day is out of control at all three positions.
    _, y = _columns("nist_handbook_linewidth_calibration.csv")
    c = _table("nist_handbook_examples.toml", "linewidth_control_chart")
    t = t_quantile(1 - c["zeta"], y.size - 2)
    assert t == pytest.approx(c["t_star"], abs=1e-7)
    text = (REFERENCE / "nist_handbook_linewidth_checks.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(line for line in text.splitlines() if line[0] != "#"))
    line = _table("nist_handbook_examples.toml", "linewidth_calibration")
    a, b = round(line["a"], 4), round(line["b"], 4)
    limit = line["residual_sd"] * t / b
    assert limit == pytest.approx(c["limit"], rel=1e-5)
    out = [
        [int(r["day"]), r["position"]]
        for r in rows
        if abs((float(r["y"]) - a) / b - float(r["x"])) > limit
    ]
    assert out == c["out_of_control"]


@pytest.mark.parametrize(
    ("file", "distinct", "straight", "curved"),
    # Load cell of the e-Handbook, 2.3.6.5, and Pontius, 4.6.1: a straight line has an R² of
    # 0.99999 and more, and is wrong.
    [
        ("nist_handbook_loadcell.csv", 11, 112.24, 0.34767),
        ("nist_strd_pontius.csv", 20, 214.7469, 0.8107),
    ],
)
def test_lack_of_fit_is_noticed(file: str, distinct: int, straight: float, curved: float) -> None:
    x, y = _columns(file)
    groups = (x[:, None] == np.unique(x)).astype(float)
    pure = least_squares(groups, y, 1.0)
    error = residual_sd(pure) ** 2
    assert groups.shape[1] == distinct
    for degree, expected, noticed in ((1, straight, True), (2, curved, False)):
        fit = least_squares(_polynomial(x, degree), y, 1.0)
        lack = float(fit.residuals @ fit.residuals) - error * (y.size - distinct)
        f = lack / (distinct - degree - 1) / error
        assert f == pytest.approx(expected, rel=1e-3)
        p = f_upper_tail(f, distinct - degree - 1, y.size - distinct)
        assert (p < 1e-9) if noticed else (p > 0.5)
