"""The span trial as a whole: second method, proposals, drives, and poor data."""

import json
import math

import numpy as np
import pytest

from asleft.errors import InputError
from asleft.measure import Instrument, SpanReading, solve_span
from asleft.measure.span.predict import settings_change

STEPS = {"X": 80.0, "Y": 80.0, "Z": 400.0}
CALIPER = Instrument()


def _solve(readings, **wishes):
    settings = {"instrument": CALIPER, "in_force": STEPS, "skew": {"XY": 0.0}} | wishes
    return solve_span(readings, **settings)


def _value(found, name, where=None):
    return next(q for q in found.quantities if q.name == name and where in (q.axis, q.plane))


def _proposal(found, setting, axis):
    return next(p for p in found.proposals if (p.setting, p.axis) == (setting, axis))


def _exact(sx=0.0, sy=0.0, sz=0.0, shear=0.0, growth=0.0, n=4):
    """Readings without any scatter beyond a fixed pattern of ±0.01 mm that averages out."""
    m = np.diag([1 + sx, 1 + sy, 1 + sz])
    m[0, 1] = shear * (1 + sy)
    r = 0.5**0.5
    ways = {"X": (1, 0, 0), "Y": (0, 1, 0), "XY+": (r, r, 0), "XY-": (r, -r, 0)}
    found = []
    for d, way in ways.items():
        base = 95.0 if len(d) == 1 else 95.0 * 2**0.5
        for f, sign in (("outside", 1), ("inside", -1)):
            length = base + 12 * sign
            size = np.linalg.norm(m @ way) * length + sign * growth
            found += [SpanReading(d, f, length, size + (-0.01) ** 1 * (-1) ** k, f"{d}{f}{k // 2}")
                      for k in range(n)]  # fmt: skip
    for h in (20.0, 60.0, 100.0):
        found += [SpanReading("Z", "outside", h, h * (1 + sz) + 0.01 * (-1) ** k, f"Z{h}")
                  for k in range(n)]  # fmt: skip
    return found


def test_a_second_method_agrees(piece, machine) -> None:
    """The full non-linear model by scipy's least_squares, priors as residuals, its own code."""
    from scipy.optimize import least_squares

    from asleft.measure.span.fit import fit_span

    readings = machine(np.random.default_rng(41)).read(piece(heights=(20.0, 40.0, 100.0)).rows())
    fit = fit_span(readings, CALIPER, 2.0)
    total = fit.scatter
    ways = {"X": (1, 0), "Y": (0, 1), "XY+": (0.5**0.5, 0.5**0.5), "XY-": (0.5**0.5, -(0.5**0.5))}
    groups: dict[str, list[SpanReading]] = {}
    for i, r in enumerate(readings):
        if fit.misreads.kept[i]:
            groups.setdefault(r.place, []).append(r)
    prior = [0.05, 0.05, 0.05, 0.05, 0.25, 0.05] + [0.03 / 3**0.5] * 2
    prior += [0.03 / 3**0.5 / 150, 0.25, 1.4e-4, 0.03]

    def residuals(t):
        out = [v / s for v, s in zip(t, prior, strict=True)]
        m = np.array([[1 + t[0], t[3] * (1 + t[1])], [0, 1 + t[1]]])
        for rows in groups.values():
            r = rows[0]
            mean = np.mean([x.reading_mm for x in rows])
            variance = total.reading_mm**2 / len(rows) + total.face_mm**2
            if r.direction == "Z":
                size = (1 + t[2]) * r.nominal_mm + t[9]
                variance *= total.z_factor
            else:
                sign = 1 if r.faces == "outside" else -1
                size = np.linalg.norm(m @ ways[r.direction]) * r.nominal_mm
                size += sign * (t[4] + t[11] + {"X": t[5], "Y": -t[5]}.get(r.direction, 0.0))
            size += (t[8] + t[10]) * r.nominal_mm + (t[6] if r.faces == "outside" else t[7])
            out.append((mean - size) / variance**0.5)
        return out

    second = least_squares(
        residuals, np.zeros(12), x_scale=prior, xtol=1e-15, ftol=1e-15, gtol=1e-15
    )
    covariance = np.linalg.inv(second.jac.T @ second.jac)
    names = ("scale_X", "scale_Y", "scale_Z", "shear_XY", "growth", "growth_difference",
             "zero_outside", "zero_inside", "caliper_scale", "first_layer")  # fmt: skip
    for k, name in enumerate(names):
        value, u, _ = fit.estimate(fit.contrast(**{name: 1.0}))
        # Six digits of the uncertainty; the piece's warmth acts on drawn length, not on λL.
        assert value == pytest.approx(second.x[k], abs=1e-3 * u)
        assert u == pytest.approx(covariance[k, k] ** 0.5, rel=1e-3)


def test_exact_readings_give_exact_answers() -> None:
    found = _solve(_exact(0.004, -0.006, 0.003, 0.0025, 0.11))
    assert _value(found, "printed_scale", "X").value == pytest.approx(0.004, abs=2e-6)
    assert _value(found, "printed_scale", "Y").value == pytest.approx(-0.006, abs=2e-6)
    assert _value(found, "printed_scale", "Z").value == pytest.approx(0.003, abs=2e-5)
    assert _value(found, "shear", "XY").value == pytest.approx(0.0025, abs=5e-6)
    x = _proposal(found, "steps_per_mm", "X")
    assert x.verdict == "adjust"
    assert x.proposed == pytest.approx(80 / 1.004, rel=3e-6)


def test_new_settings_undo_the_map() -> None:
    # Steps and skew as proposed must bring the printed map to unity, also with a factor in force.
    sx, sy, shear, k = 0.004, -0.006, 0.0025, 0.003
    found = _solve(_exact(sx, sy, 0.0, shear), skew={"XY": k})
    after = {a: _proposal(found, "steps_per_mm", a).proposed for a in "XYZ"}
    new = _proposal(found, "skew", "XY")
    assert new.in_force == k
    printed = np.array([[1 + sx, shear * (1 + sy), 0], [0, 1 + sy, 0], [0, 0, 1]])
    change = settings_change(STEPS, after, {"XY": k}, {"XY": new.proposed})
    np.testing.assert_allclose(printed @ change, np.eye(3), atol=2e-5)


def test_growth_does_not_pass_for_scale() -> None:
    found = _solve(_exact(growth=0.3))
    assert _proposal(found, "steps_per_mm", "X").verdict == "leave"
    growth = _proposal(found, "growth", "XY")
    assert (growth.place, growth.verdict) == ("making", "adjust")
    assert growth.proposed == pytest.approx(0.3, abs=0.02)


def test_unknown_shrinkage_is_null_with_its_reason() -> None:
    found = _solve(_exact(0.004))
    for name, axis in (("motion_scale", "X"), ("shrinkage", None)):
        q = _value(found, name, axis)
        assert (q.value, q.u) == (None, None)
        assert "traverse" in q.reason


def test_stated_shrinkage_parts_motion_from_plastic() -> None:
    found = _solve(_exact(-0.003, 0.001, -0.003), shrinkage=-0.003, shrinkage_u=0.001)
    assert _proposal(found, "steps_per_mm", "X").verdict == "leave"
    y = _proposal(found, "steps_per_mm", "Y")
    assert y.proposed == pytest.approx(80 * 0.997 / 1.001, rel=1e-5)
    motion = _value(found, "motion_scale", "X")
    assert motion.u > 0.001 > _value(found, "printed_scale", "X").u
    making = _proposal(found, "shrinkage", "XYZ")
    assert (making.place, making.proposed) == ("making", -0.003)


def test_the_common_part_can_go_to_the_making() -> None:
    found = _solve(_exact(-0.004, -0.002), shrinkage_to="making")
    assert _proposal(found, "shrinkage", "XYZ").proposed == pytest.approx(-0.003, abs=1e-5)
    assert _proposal(found, "steps_per_mm", "X").proposed == pytest.approx(80 * 1.001, rel=1e-5)
    assert _proposal(found, "steps_per_mm", "Y").proposed == pytest.approx(80 * 0.999, rel=1e-5)


def test_geometry_parts_too() -> None:
    # 200·16/(2·20) = 80 and 200·16/8 = 400: common practice, arithmetic.
    found = _solve(_exact(-0.003, -0.003, -0.003), geometry=STEPS)
    assert _value(found, "shrinkage", None).value == pytest.approx(-0.003, abs=1e-5)
    assert _value(found, "motion_scale", "X").value == pytest.approx(0.0, abs=1e-5)
    assert _proposal(found, "steps_per_mm", "X").verdict == "leave"


def test_crossed_belts_get_one_change() -> None:
    found = _solve(_exact(0.0042, 0.0038), drive="crossed-belt")
    x, y = (_proposal(found, "steps_per_mm", a) for a in "XY")
    assert x.proposed == y.proposed == pytest.approx(80 / 1.004, rel=1e-5)
    assert (x.verdict, y.verdict) == ("adjust", "adjust")
    apart = _solve(_exact(0.008, 0.0), drive="crossed-belt")
    assert _proposal(apart, "steps_per_mm", "X").verdict == "inspect"
    assert "frame" in _proposal(apart, "steps_per_mm", "X").reason


def test_delta_steps_follow_z() -> None:
    found = _solve(_exact(0.004, 0.004, 0.004), drive="delta", in_force=dict.fromkeys("XYZ", 80.0))
    factors = {_proposal(found, "steps_per_mm", a).proposed for a in "XYZ"}
    assert len(factors) == 1
    bowl = _solve(_exact(0.006, 0.006, 0.0), drive="delta")
    assert "arm length" in _proposal(bowl, "steps_per_mm", "X").reason


def test_only_what_was_read_is_answered() -> None:
    rows = [r for r in _exact(0.004) if r.direction == "X"]
    found = _solve(rows)
    assert {q.axis for q in found.quantities if q.name == "printed_scale"} == {"X"}
    assert {p.axis for p in found.proposals if p.place == "controller"} == {"X"}
    assert not [q for q in found.quantities if q.name in ("shear", "first_layer")]


def test_what_is_not_known_in_force_is_not_proposed() -> None:
    found = _solve(_exact(0.004, shear=0.003), in_force={"Y": 80.0}, skew=None)
    for setting, axis in (("steps_per_mm", "X"), ("skew", "XY")):
        p = _proposal(found, setting, axis)
        assert (p.in_force, p.proposed, p.u, p.verdict) == (None, None, None, "adjust")
        assert "unknown" in p.reason


def test_a_drive_is_not_off_by_five_percent() -> None:
    assert _proposal(_solve(_exact(0.05)), "steps_per_mm", "X").verdict == "inspect"


def test_the_cube_habit_is_told_that_it_does_not_decide() -> None:
    rows = [SpanReading(a, "outside", 20.0, 20.1 + d) for a in "XYZ" for d in (0.0, 0.01, -0.01)]
    found = _solve(rows)
    for axis in "XYZ":
        assert _proposal(found, "steps_per_mm", axis).verdict == "measure_more"
        q = _value(found, "printed_scale", axis)
        assert q.low95 < 0 < q.high95
        assert q.high95 - q.low95 > 0.02
    assert "no number of readings" in _proposal(found, "steps_per_mm", "X").reason


def test_one_outside_length_is_no_plain_adjust() -> None:
    rows = [SpanReading("X", "outside", 100.0, y) for y in (100.70, 100.69, 100.71)]
    p = _proposal(_solve(rows), "steps_per_mm", "X")
    assert p.verdict != "adjust" or p.provisional


def test_the_budget_adds_up(piece, machine) -> None:
    found = _solve(machine(np.random.default_rng(44)).read(piece().rows()))
    for name, where in (("printed_scale", "X"), ("printed_scale", "Z"), ("shear", "XY")):
        lines = [b for b in found.budget if b.quantity == f"{name} {where}"]
        sizes = [b.contribution for b in lines]
        assert sizes == sorted(sizes, reverse=True)
        assert math.hypot(*sizes) == pytest.approx(_value(found, name, where).u, rel=2e-3)
        assert {"A", "B"} == {b.kind for b in lines}
        for b in lines:
            assert b.contribution == pytest.approx(abs(b.sensitivity) * b.u)


def test_everything_is_json(piece, machine) -> None:
    found = _solve(machine(np.random.default_rng(45), misreads=0.05).read(piece().rows()))
    again = json.loads(json.dumps(found.to_dict(), allow_nan=False))
    assert again["trial"] == "span"
    for q in again["quantities"]:
        assert q["u"] is None or q["u"] > 0
        assert q["value"] is not None or q["reason"]


@pytest.mark.parametrize(
    "wishes",
    [
        {"in_force": {"X": 0.0}},
        {"in_force": {"X": math.nan}},
        {"shrinkage": 0.3},
        {"shrinkage": -0.003, "shrinkage_u": 0.0},
        {"geometry": {"X": -80.0}},
    ],
)
def test_impossible_wishes(wishes) -> None:
    with pytest.raises(InputError):
        _solve(_exact(), **wishes)


def test_impossible_readings() -> None:
    with pytest.raises(InputError):
        _solve([])
    with pytest.raises(InputError):
        _solve([SpanReading("X", "outside", 100.0, math.nan)])
