"""The span estimate by other people's statistics: GLS, dense likelihood, and a GUM calculator.

statsmodels and GTC are used for nothing but these comparisons. Agreement is stated in digits; the
design is read off the span model, whose derivatives are checked numerically elsewhere.
"""

import math
import warnings
from dataclasses import dataclass

import numpy as np
import pytest
from scipy import optimize, stats

from asleft.measure import Instrument, prove_span, solve_span
from asleft.measure.chance import f_upper_tail
from asleft.measure.face import FACE_SD_MM
from asleft.measure.span.design import PARAMETERS, WORDS, Places, model
from asleft.measure.span.fit import SpanFit, fit_span
from asleft.measure.span.predict import predict_span
from asleft.measure.span.scatter import READING_SD_MM, derivatives

CALIPER = Instrument()
SHAPES = [{}, {"n": 2, "pairs": 2}, {"faces": ("outside",)}, {"heights": ()}]


@dataclass(frozen=True)
class Spot:
    label: str
    direction: str
    faces: str
    nominal_mm: float


def _case(piece, machine, seed: int, **shape) -> tuple[list, SpanFit]:
    readings = machine(np.random.default_rng(seed), noise=0.03, face=0.025).read(
        piece(**shape).rows()
    )
    fit = fit_span(readings, CALIPER, 2.0)
    assert fit.misreads.kept.all()
    return readings, fit


def _dense(readings, fit: SpanFit, log: np.ndarray) -> np.ndarray:
    """Covariance (n, n) of single readings for log variances of reading, face and Z."""
    is_z = np.array([r.direction == "Z" for r in readings])
    times = np.where(is_z, math.exp(log[2]), 1.0)
    same = np.array([[a.place == b.place for b in readings] for a in readings])
    return np.diag(times * math.exp(log[0])) + same * (times * math.exp(log[1]))


def _linear(readings, fit: SpanFit) -> tuple[np.ndarray, np.ndarray]:
    """Design of single readings and the observed values less the linearised constant."""
    predicted, slopes = model(Places.of(readings), fit.theta)
    observed = np.array([r.reading_mm for r in readings])
    return slopes[:, fit.active], observed - predicted + slopes @ fit.theta


@pytest.mark.parametrize("shape", SHAPES)
def test_generalised_least_squares(piece, machine, shape) -> None:
    # statsmodels GLS on single readings with the full covariance, priors as further rows.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import statsmodels.api as sm
    readings, fit = _case(piece, machine, 71, **shape)
    design, target = _linear(readings, fit)
    prior = fit.prior_sd[fit.active]
    sigma = np.zeros((target.size + prior.size,) * 2)
    sigma[: target.size, : target.size] = _dense(readings, fit, fit.scatter.log)
    sigma[target.size :, target.size :] = np.diag(prior**2)
    second = sm.GLS(
        np.append(target, np.zeros(prior.size)),
        np.vstack([design, np.eye(prior.size)]),
        sigma=sigma,
    ).fit()
    u = np.sqrt(np.diag(fit.covariance)[fit.active])
    # Four digits, in units of u: the last step of the scatter is what limits.
    np.testing.assert_allclose(fit.theta[fit.active] / u, second.params / u, atol=1e-4)
    ours = fit.covariance[np.ix_(fit.active, fit.active)] / np.outer(u, u)
    theirs = np.asarray(second.normalized_cov_params) / np.outer(u, u)
    np.testing.assert_allclose(ours, theirs, atol=1e-4)


@pytest.mark.parametrize("shape", SHAPES)
def test_scatter_maximises_the_dense_likelihood(piece, machine, shape) -> None:
    # Restricted likelihood with dense matrices and no derivatives, maximised by scipy. Type-B
    # inputs are random effects: their variance stands in the covariance of the readings.
    readings, fit = _case(piece, machine, 72, **shape)
    design, target = _linear(readings, fit)
    known = design @ np.diag(fit.prior_sd[fit.active] ** 2) @ design.T
    centre = 2 * np.log([READING_SD_MM, FACE_SD_MM, 1.0])
    centre[2] = 0.0

    def minus_log(log: np.ndarray) -> float:
        v = _dense(readings, fit, log) + known
        sign, size = np.linalg.slogdet(v)
        assert sign > 0
        weak = np.sum((log - centre) ** 2) / 4.0  # each prior is worth one degree of freedom
        return 0.5 * float(size + target @ np.linalg.solve(v, target)) + float(weak)

    second = optimize.minimize(
        minus_log, centre, method="Nelder-Mead", options={"xatol": 1e-4, "fatol": 1e-9}
    )
    # Three digits of a variance.
    np.testing.assert_allclose(fit.scatter.log, second.x, atol=2e-3)


def test_slopes_of_the_variances_are_numeric_ones(piece, machine) -> None:
    _, fit = _case(piece, machine, 73)
    _, slopes = derivatives(fit.scatter, fit.sums)
    for k in range(3):
        sides = []
        for step in (1e-6, -1e-6):
            log = fit.scatter.log.copy()
            log[k] += step
            sides.append(type(fit.scatter)(log, fit.scatter.spread).variance(fit.sums))
        np.testing.assert_allclose(slopes[k], (sides[0] - sides[1]) / 2e-6, rtol=1e-6, atol=1e-12)


def test_budget_by_a_gum_calculator(piece, machine) -> None:
    # GTC propagates every input through the estimator's weights; the lines must be the same.
    import GTC as gtc  # noqa: N811

    readings, fit = _case(piece, machine, 74)
    design, _ = _linear(readings, fit)
    prior = fit.prior_sd[fit.active]
    weight = np.linalg.inv(_dense(readings, fit, fit.scatter.log))
    told = design.T @ weight @ design + np.diag(prior**-2)
    gain = np.linalg.solve(told, design.T @ weight)
    names = [PARAMETERS[k] for k in np.flatnonzero(fit.active)]
    inputs = {n: gtc.ureal(0.0, sd, label=n) for n, sd in zip(names, prior, strict=True)}
    found = solve_span(readings, instrument=CALIPER, in_force={}, skew=None)
    for which, axis in (("scale_X", "X"), ("scale_Z", "Z")):
        row = gain[names.index(which)]
        felt = row @ design - np.eye(len(names))[names.index(which)]
        error = sum(float(f) * inputs[n] for f, n in zip(felt, names, strict=True))
        noise = math.sqrt(row @ _dense(readings, fit, fit.scatter.log) @ row)
        scatter = gtc.ureal(0.0, noise, label="scatter")
        u = gtc.uncertainty(error + scatter)
        q = next(q for q in found.quantities if (q.name, q.axis) == ("printed_scale", axis))
        assert q.u == pytest.approx(u, rel=1e-3)
        lines = {b.input: b.contribution for b in found.budget
                 if b.quantity == f"printed_scale {axis}" and b.kind == "B"}  # fmt: skip
        for name, x in inputs.items():
            if WORDS.get(name) in lines:
                part = gtc.component(error, x)
                assert lines[WORDS[name]] == pytest.approx(abs(part), rel=2e-3, abs=1e-3 * u)
        by_readings = [b.contribution for b in found.budget
                       if b.quantity == f"printed_scale {axis}" and b.kind == "A"]  # fmt: skip
        assert math.hypot(*by_readings) == pytest.approx(noise, rel=2e-3)


def test_tails_by_another_library() -> None:
    for f, above, below in ((2.26, 9, 40.0), (1.1, 17, 6.5), (3.0, 3, math.inf)):
        second = stats.chi2.sf(f * above, above) if math.isinf(below) else stats.f.sf(
            f, above, below
        )  # fmt: skip
        assert f_upper_tail(f, above, below) == pytest.approx(second, rel=1e-12)


def test_proof_by_monte_carlo(piece, machine) -> None:
    # The prediction's covariance, drawn from instead of inverted: χ² of a true second piece.
    rows = piece(n=2).rows()
    first = machine(np.random.default_rng(75)).read(rows)
    places = {r.place: r for r in first}
    spots = [Spot(k, r.direction, r.faces, r.nominal_mm) for k, r in places.items()]
    prediction = predict_span(first, spots, instrument=CALIPER, steps_before={}, steps_after={})
    c = np.array(prediction.covariance) + np.diag(prediction.reading_variance)
    middle = np.array([p.predicted_mm for p in prediction.places])
    rng = np.random.default_rng(76)
    found = []
    for _ in range(400):
        drawn = rng.multivariate_normal(middle, c)
        second = [type(r)(r.direction, r.faces, r.nominal_mm, float(y), r.place)
                  for r, y in zip(places.values(), drawn, strict=True)]  # fmt: skip
        found.append(prove_span(prediction, second).chi2)
    # 400 draws know the mean of χ² on 11 places to 2 %; five standard deviations are allowed.
    assert np.mean(found) == pytest.approx(len(spots), abs=5 * math.sqrt(22 / 400))
