"""Plans against what the solvers then reach, and against figures simulated beforehand."""

import numpy as np
import pytest

from asleft.errors import InputError
from asleft.measure import (
    FeedReading,
    Instrument,
    KnownLengthCheck,
    SpanReading,
    TraverseReading,
    cheapest,
    feed_cost,
    plan_feed,
    plan_span,
    plan_traverse,
    solve_feed,
    solve_span,
    solve_traverse,
)
from asleft.pieces import SpanPiece

LONG = Instrument(reach_mm=250.0)


def _places(rows) -> list[SpanReading]:
    firsts = {row[3]: row for row in rows}.values()
    return [SpanReading(d, f, size, size, place) for d, f, size, place in firsts]


@pytest.mark.parametrize(
    ("span", "n", "percent"),
    [
        *((60, 2, 0.035), (80, 2, 0.028), (100, 2, 0.023), (120, 2, 0.020), (140, 2, 0.018)),
        *((100, 4, 0.020), (120, 4, 0.018)),
    ],
)
def test_the_figures_simulated_beforehand(piece, span, n, percent) -> None:
    # Readings of 0.025 mm at places of their own, MPE 0.03 over 150; from simulations made before
    # this code.
    caliper = Instrument(reach_mm=150.0)
    rows = piece(span=span, n=n, heights=(), directions=("X", "Y")).rows()
    places = [SpanReading(d, f, size, size) for d, f, size, _ in rows]
    places = [p for p in places if p.nominal_mm <= 150] if span < 139 else places
    wide = Instrument(reach_mm=160.0, mpe_mm=0.032) if span > 138 else caliper
    plan = plan_span(
        places, instrument=wide, repeats=1, reading_sd_mm=0.025, face_sd_mm=1e-6,
        piece_temperature_u_k=1e-6,
    )  # fmt: skip
    x = next(e for e in plan.expected if (e.name, e.axis) == ("printed_scale", "X"))
    assert 100 * x.u == pytest.approx(percent, abs=0.004)


def test_a_span_plan_is_what_the_solver_reaches(piece, machine) -> None:
    rows = piece(n=2, pairs=2).rows()
    plan = plan_span(
        _places(rows), instrument=LONG, repeats=2, reading_sd_mm=0.025, face_sd_mm=0.02
    )
    reached: dict[tuple[str, str | None], list[float]] = {}
    for seed in range(25):
        m = machine(np.random.default_rng(seed), instrument=LONG)
        found = solve_span(m.read(rows), instrument=LONG, in_force={}, skew=None)
        for q in found.quantities:
            if q.u is not None:
                reached.setdefault((q.name, q.axis or q.plane), []).append(q.u)
    assert {(e.name, e.axis) for e in plan.expected} <= set(reached)
    for e in plan.expected:
        assert e.u == pytest.approx(np.median(reached[e.name, e.axis]), rel=0.15), e


def test_a_plan_of_the_piece_as_drawn_is_how_far_the_solver_then_lies_from_the_truth(machine):
    """Errors of X and Y over 400 evenings; `python -m benchmarks.planned` does it at length."""
    places = SpanPiece().places()
    rows = [(p.direction, p.faces, p.nominal_mm, p.label) for p in places]
    caliper = Instrument(reach_mm=150.0)
    plan = plan_span(places, instrument=caliper, reading_sd_mm=0.025, face_sd_mm=0.02)
    off = []
    for seed in range(400):
        m = machine(np.random.default_rng(seed), instrument=caliper)
        found = solve_span(m.read(rows), instrument=caliper, in_force={}, skew=None)
        by_axis = {q.axis: q.value for q in found.quantities if q.name == "printed_scale"}
        off += [by_axis["X"] - m.scale[0], by_axis["Y"] - m.scale[1]]
    expected = {(e.name, e.axis): e.u for e in plan.expected}["printed_scale", "X"]
    assert expected <= 0.025e-2
    assert np.sqrt(np.mean(np.square(off))) == pytest.approx(expected, rel=0.1)


def test_longer_pieces_checks_and_repeats_help(piece) -> None:
    def u(places, instrument=LONG, repeats=1) -> float:
        return plan_span(places, instrument=instrument, repeats=repeats).expected[0].u

    short, long = _places(piece(span=60).rows()), _places(piece(span=140).rows())
    assert u(long) < u(short)
    assert u(short, repeats=4) < u(short)
    check = KnownLengthCheck(100.0, 0.003, 0.01, 0.003)
    assert u(long, Instrument(reach_mm=250.0, check=check)) < u(long)


def test_repeats_at_one_face_do_not_average_the_face(piece) -> None:
    # Readings far better than faces: sixteen of a face say hardly more than one.
    places = _places(piece().rows())
    one, many = (
        plan_span(places, instrument=LONG, repeats=n, reading_sd_mm=0.002, face_sd_mm=0.03)
        for n in (1, 16)
    )
    for before, after in zip(one.expected, many.expected, strict=True):
        assert after.u > 0.98 * before.u


def test_plans_choose_the_least(piece) -> None:
    candidates = [(float(p), _places(piece(span=p).rows())) for p in (60, 80, 100, 120, 140)]

    def planned(places):
        return plan_span(places, instrument=LONG, repeats=2)

    best = cheapest(candidates, planned)
    enough = [
        all(e.enough for e in planned(places).expected if e.axis in ("X", "Y", "XY"))
        for _, places in candidates
    ]
    assert best == enough.index(True)
    assert cheapest(candidates[:1], planned) is None


def test_feed_plan_against_the_solver() -> None:
    plan = plan_feed(instrument=LONG, length_mm=100.0, repeats=4, scatter_mm=0.3)
    rng = np.random.default_rng(1)
    us = []
    for _ in range(200):
        left = [120 - 100 + rng.normal(0, 0.3) for _ in range(4)]
        rows = [FeedReading(100.0, 120 - r, 120.0, r) for r in left]
        us.append(solve_feed(rows, instrument=LONG, in_force=None).quantities[0].u)
    assert plan.expected[0].u == pytest.approx(np.sqrt(np.mean(np.square(us))), rel=0.08)
    assert plan_feed(instrument=LONG, scatter_mm=0.6, repeats=1).repeats_enough == 6
    cut = plan_feed(instrument=LONG, marked=False).expected[0].u
    assert cut > plan.expected[0].u
    minutes, grams = feed_cost(100.0, 4, 1.75)
    # 2.98 g a metre of 1.75 mm at 1.24 g/cm³: arithmetic.
    assert grams == pytest.approx(0.4 * 2.98, abs=0.01) and 8 < minutes < 25


def test_traverse_plan_against_the_solver() -> None:
    targets = (0.0, 35.0, 70.0, 105.0, 140.0)
    plan = plan_traverse("X", targets, instrument=Instrument(), cycles=3)
    rng = np.random.default_rng(2)
    us = []
    for _ in range(100):
        off = dict(zip(targets, rng.normal(0, 0.015, 5), strict=True))
        rows = [
            TraverseReading("X", t, side, t + off[t] + rng.normal(0, 0.01))
            for t in targets
            for side in "+-"
            for _ in range(3)
        ]
        found = solve_traverse(rows, instrument=Instrument(), in_force={})
        us.append([q.u for q in found.quantities[:2]])
    reached = np.sqrt(np.mean(np.square(us), axis=0))
    for expected, u in zip(plan.expected, reached, strict=True):
        assert expected.u == pytest.approx(u, rel=0.15)
    blind = plan_traverse("X", (0, 5, 10), instrument=Instrument("i", 0.001, 0.015, 10.0))
    assert blind.repeats_enough is None and "motion_scale X" in blind.reason


def test_bad_input_is_refused(piece) -> None:
    for wrong in (
        lambda: plan_span([], instrument=LONG),
        lambda: plan_span(_places(piece(span=140).rows()), instrument=Instrument()),
        lambda: plan_span(_places(piece().rows()), instrument=LONG, repeats=0),
        lambda: plan_feed(instrument=LONG, length_mm=-1.0),
        lambda: plan_traverse("X", (5.0,), instrument=LONG),
    ):
        with pytest.raises(InputError):
            wrong()
