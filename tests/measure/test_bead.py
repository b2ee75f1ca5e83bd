"""The bead trial: the stadium, the balance, a second method, coverage, contradictions."""

import math

import numpy as np
import pytest

from asleft.errors import InputError
from asleft.measure import BeadReading, Extrusion, Instrument, solve_bead

CALIPER = Instrument()
BULGE = 0.2 * (1 - math.pi / 4)
WIDTHS = (0.45, 0.55, 0.65)
WEIGHED = Extrusion(filament_mm=1200.0, density_g_cm3=1.24, density_u_g_cm3=0.012)


def _due_g(extrusion=WEIGHED) -> float:
    """Mass of the filament as the profile has it."""
    return extrusion.density_g_cm3 * extrusion.filament_mm * math.pi / 4 * 1.75**2 / 1000


def _read(rng, flow, growth, zero, *, noise=0.012, n=4, mass=None):
    rows = []
    for w in WIDTHS:
        for _ in range(n):
            # Real area by flow: a stadium of the same height is this wide.
            area = flow * ((w - 0.2) * 0.2 + math.pi * 0.04 / 4)
            wide = (area - math.pi * 0.04 / 4) / 0.2 + 0.2
            read = wide + growth + zero + rng.normal(0, noise)
            rows.append(BeadReading(w, round(read, 2), mass))
    return rows


def test_the_bulge_of_a_stadium() -> None:
    # h·(1 − π/4) is 0.043 mm at h = 0.20: identity. A wall of exactly the drawn stadium is flow 1.
    assert pytest.approx(0.043, abs=1e-4) == BULGE
    rows = [BeadReading(w, w + d) for w in WIDTHS for d in (0.001, -0.001)]
    flow, growth = solve_bead(rows, instrument=CALIPER).quantities
    assert flow.value == pytest.approx(1.0, abs=1e-9)
    assert growth.value == pytest.approx(0.0, abs=1e-9)
    fat = [BeadReading(w, 1.1 * (w - BULGE) + BULGE) for w in WIDTHS for _ in (0, 1)]
    assert solve_bead(fat, instrument=CALIPER).quantities[0].value == pytest.approx(1.1, abs=0.002)


def test_a_second_method() -> None:
    # statsmodels WLS on the same rows, priors as observations, sigmas as ours: 10 digits.
    import statsmodels.api as sm

    rows = _read(np.random.default_rng(1), 1.06, 0.02, 0.0)
    found = solve_bead(rows, instrument=CALIPER)
    sd = next(line.u for line in found.budget if line.input == "scatter of a width")
    w = np.array([r.drawn_width_mm for r in rows]) - BULGE
    y = np.array([r.reading_mm for r in rows]) - BULGE
    design = np.vstack([np.column_stack([w, np.ones_like(w)]), [[1, 0], [0, 1]]])
    # Shape and zero act alike: their sum has the sum of their variances.
    both = math.hypot(0.05, CALIPER.zero_sd_mm)
    sds = np.append(np.full(w.size, sd), [2.0, both])
    fit = sm.WLS(np.append(y, [1.0, 0.0]), design, weights=1 / sds**2).fit(cov_type="fixed scale")
    flow = found.quantities[0]
    assert flow.value == pytest.approx(fit.params[0], rel=1e-10)
    assert flow.u == pytest.approx(fit.bse[0], rel=1e-10)


def test_budget_by_a_second_method() -> None:
    # GTC: the mass alone, flow = m / (ρ·F·π·d₀²/4).
    from GTC import ureal

    far = Extrusion(filament_mm=1200.0, density_g_cm3=1.24, density_u_g_cm3=0.012,
                    balance_u_g=0.02)  # fmt: skip
    mass, density = ureal(3.7, 0.02), ureal(1.24, 0.012)
    flow = mass / (density * 1200 * math.pi / 4 * 1.75**2 / 1000)
    wide = Instrument(mpe_mm=50.0, resolution_mm=5.0)  # a caliper that says nothing
    found = solve_bead([BeadReading(0.45, 0.45, 3.7)], instrument=wide, extrusion=far).quantities[0]
    assert found.value == pytest.approx(flow.x, rel=2e-3)
    assert found.u == pytest.approx(flow.u, rel=0.05)


@pytest.mark.parametrize(("weighed", "n"), [(False, 4), (False, 1), (True, 4)])
def test_intervals_cover(weighed: bool, n: int) -> None:
    rng = np.random.default_rng(40 + n + weighed)
    hits = {"flow": [], "growth": []}
    for _ in range(500):
        flow, growth = rng.normal(1, 0.08), rng.normal(0, 0.05)
        zero, density = rng.normal(0, CALIPER.zero_sd_mm), rng.normal(1.24, 0.012)
        mass = _due_g() * density / 1.24 * flow + rng.normal(0, 0.01) if weighed else None
        rows = _read(rng, flow, growth, zero, n=n, mass=mass)
        found = solve_bead(rows, instrument=CALIPER, extrusion=WEIGHED if weighed else Extrusion())
        for q, truth in zip(found.quantities, (flow, growth), strict=True):
            hits[q.name].append(q.low95 <= truth <= q.high95)
    for name, seen in hits.items():
        assert np.mean(seen) >= 0.925, (name, np.mean(seen))


def test_the_balance_settles_it() -> None:
    rng = np.random.default_rng(3)
    rows = _read(rng, 1.08, 0.0, 0.0)
    weighed = [BeadReading(r.drawn_width_mm, r.reading_mm, 1.08 * _due_g()) for r in rows]
    alone = solve_bead(rows, instrument=CALIPER, in_force=1.0)
    both = solve_bead(weighed, instrument=CALIPER, extrusion=WEIGHED, in_force=1.0)
    assert both.quantities[0].u < 0.5 * alone.quantities[0].u
    flow = both.proposals[0]
    assert (flow.setting, flow.place, flow.verdict) == ("flow", "making", "adjust")
    assert flow.proposed == pytest.approx(1 / 1.08, abs=0.01)
    assert {line.input for line in both.budget} >= {"density of the plastic"}
    for found in (alone, both):
        lines = [line.contribution**2 for line in found.budget if line.quantity == "flow"]
        assert sum(lines) == pytest.approx(found.quantities[0].u ** 2, rel=5e-3)


def test_the_filaments_own_diameter() -> None:
    # (1.80/1.75)² is 1.058: the thicker filament is the over-extrusion, where feed is right.
    thick = Extrusion(measured_diameter_mm=1.80, diameter_u_mm=0.005)
    rows = _read(np.random.default_rng(6), 1.058, 0.0, 0.0)
    found = solve_bead(rows, instrument=CALIPER, extrusion=thick)
    assert found.quantities[0].value == pytest.approx(1.058, abs=0.012)
    assert found.quantities[0].u < 0.009


def test_contradictions_and_single_widths() -> None:
    rows = _read(np.random.default_rng(9), 1.0, 0.0, 0.0)
    rows[3] = BeadReading(rows[3].drawn_width_mm, 0.95)
    found = solve_bead(rows, instrument=CALIPER)
    assert [a.row for a in found.set_aside] == [4]
    assert found.quantities[0].value == pytest.approx(1.0, abs=0.1)
    pair = [*rows[:1], rows[3], *rows[4:]]
    doubt = solve_bead(pair, instrument=CALIPER).proposals[0]
    assert (doubt.verdict, "rows 1, 2" in doubt.reason) == ("inspect", True)
    clash = [BeadReading(w, w, 1.3 * _due_g()) for w in WIDTHS for _ in range(4)]
    found = solve_bead(clash, instrument=CALIPER, extrusion=WEIGHED)
    assert found.proposals[0].verdict == "inspect"
    one = solve_bead([BeadReading(0.45, 0.46)] * 3, instrument=CALIPER)
    assert one.quantities[0].u > 0.05 and any("one drawn width" in w for w in one.warnings)
    assert one.proposals[0].proposed is None and "unknown" in one.proposals[0].reason


def test_bad_input_is_refused() -> None:
    for wrong in (
        [],
        [BeadReading(0.1, 0.1)],
        [BeadReading(0.45, -1.0)],
        [BeadReading(0.45, 0.45, 2.0)],
    ):
        with pytest.raises(InputError):
            solve_bead(wrong, instrument=CALIPER)
    with pytest.raises(InputError):
        Extrusion(density_g_cm3=-1.0)
    with pytest.raises(InputError):
        solve_bead([BeadReading(0.45, 0.45)], instrument=CALIPER, in_force=0.0)


def test_a_zero_that_a_check_found_is_taken_off() -> None:
    # A short known length reads 0.02 mm too much, which is nearly all zero: a wall read so is
    # 0.02 mm thinner than it seems, and the zero is known better than the data sheet has it.
    from asleft.measure import KnownLengthCheck

    rows = [BeadReading(w, w + 0.02 + d) for w in WIDTHS for d in (-0.01, 0.01, -0.01, 0.01)]
    heavy = _due_g() * 1.0
    rows[0] = BeadReading(rows[0].drawn_width_mm, rows[0].reading_mm, heavy)
    checked = Instrument(check=KnownLengthCheck(5.0, 0.001, 0.02, 0.001))
    before = solve_bead(rows, instrument=CALIPER, extrusion=WEIGHED).quantities[1]
    after = solve_bead(rows, instrument=checked, extrusion=WEIGHED).quantities[1]
    assert before.value > 0.015
    assert abs(after.value) < 0.003
    assert after.u < 0.8 * before.u
