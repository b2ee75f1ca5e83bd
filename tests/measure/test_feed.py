"""The feed trial: the trade's own numbers, small samples, and what hardware must mend."""

import numpy as np
import pytest

from asleft.errors import InputError
from asleft.measure import FeedReading, Instrument, Solution, solve_feed


def _marked(*remaining: float, marked: float = 120.0, commanded: float = 100.0) -> Solution:
    readings = [FeedReading(commanded, marked - r, marked, r) for r in remaining]
    return solve_feed(readings, instrument=Instrument(), in_force=93.0)


def _around(middle: float, scatter: float = 0.1) -> list[float]:
    """Four readings whose mean and standard deviation are exactly these."""
    pattern = np.array([-1.0, -1.0, 1.0, 1.0])
    return list(middle + scatter * pattern / pattern.std(ddof=1))


@pytest.mark.parametrize(
    ("left", "verdict", "factor"),
    [(20.0, "leave", 1.0), (15.0, "adjust", 100 / 105), (25.0, "adjust", 100 / 95)],
)
def test_the_trades_own_numbers(left: float, verdict: str, factor: float) -> None:
    # 120 marked, 100 commanded: 20 left is right; new = old × commanded / fed.
    # Common practice, no source.
    (proposal,) = _marked(*_around(left)).proposals
    assert proposal.verdict == verdict
    assert proposal.proposed == pytest.approx(93.0 * factor, rel=1e-9)
    assert not proposal.provisional


def test_three_wide_readings_do_not_decide() -> None:
    # P(|t| < x) with 2 degrees of freedom is x/√(2+x²), x = T/u = 0.01·√3/0.006: 0.898.
    (proposal,) = _marked(20.0, 20.6, 19.4).proposals
    assert proposal.verdict == "measure_more"
    assert proposal.p_within_tolerance == pytest.approx(0.898, abs=5e-4)
    assert "more readings would decide" in proposal.reason


@pytest.mark.parametrize(("n", "share"), [(3, 0.82), (4, 0.993)])
def test_how_often_a_perfect_machine_is_left_alone(n: int, share: float) -> None:
    # The share is from simulations made before this code: 0.3 mm of scatter.
    rng = np.random.default_rng(n)
    left = [_marked(*rng.normal(20.0, 0.3, n)).proposals[0].verdict for _ in range(600)]
    assert left.count("leave") / 600 == pytest.approx(share, abs=0.045)


def test_the_interval_covers() -> None:
    rng = np.random.default_rng(7)
    scale = Instrument().scale_sd
    hits = 0
    for _ in range(600):
        ratio, caliper = rng.uniform(0.93, 1.07), 1 + rng.normal(0, scale)
        left = [120 - 100 * ratio * caliper + rng.normal(0, 0.2) for _ in range(4)]
        q = _marked(*left).quantities[0]
        hits += q.low95 <= ratio <= q.high95
    assert hits / 600 == pytest.approx(0.95, abs=0.025)


def test_hardware_first() -> None:
    drift = _marked(20.0, 19.5, 18.9, 18.3, 17.8).proposals[0]
    scatter = _marked(20.0, 25.0, 16.0, 22.0).proposals[0]
    far = _marked(45.0, 45.1, 44.9, 45.0).proposals[0]
    assert [p.verdict for p in (drift, scatter, far)] == ["inspect"] * 3
    assert "drifts" in drift.reason
    assert "scatter" in scatter.reason


def test_one_reading_has_no_uncertainty() -> None:
    found = _marked(15.0)
    assert found.quantities[0].u is None
    assert found.quantities[0].reason
    assert found.proposals[0].verdict == "measure_more"
    assert found.proposals[0].u is None


def test_equal_readings_are_no_better_than_the_last_digit() -> None:
    q = _marked(20.0, 20.0, 20.0, 20.0).quantities[0]
    assert q.u > Instrument().rounding_sd_mm / 100


def test_cut_pieces_carry_the_zero_of_the_jaws() -> None:
    cut = [FeedReading(100.0, 100.0 + d) for d in (-0.1, 0.1, -0.1, 0.1)]
    marked = [FeedReading(100.0, r.fed_mm, 120.0, 120.0 - r.fed_mm) for r in cut]
    u_cut, u_marked = (
        solve_feed(r, instrument=Instrument(), in_force=None).quantities[0].u for r in (cut, marked)
    )
    assert u_cut**2 - u_marked**2 == pytest.approx((Instrument().zero_sd_mm / 100) ** 2)


def test_unknown_steps_give_no_value() -> None:
    (p,) = solve_feed(
        [FeedReading(100.0, 95.0 + d) for d in (0, 0.1, -0.1, 0)],
        instrument=Instrument(),
        in_force=None,
        axis="E1",
    ).proposals
    assert (p.proposed, p.u, p.axis, p.verdict) == (None, None, "E1", "adjust")
    assert "unknown" in p.reason


def test_fast_feeds_do_not_bend_the_level() -> None:
    slow = [FeedReading(50.0, 50.0 + d, rate_mm_min=r) for r in (60, 120) for d in (0.05, -0.05)]
    fast = [FeedReading(50.0, 40.0, rate_mm_min=900.0)] * 2
    found = solve_feed(slow + fast, instrument=Instrument(), in_force=93.0)
    assert found.quantities[0].value == pytest.approx(1.0)
    assert found.warnings


def test_budget_adds_up_and_bad_input_is_refused() -> None:
    found = _marked(*_around(19.0))
    total = sum(line.contribution**2 for line in found.budget)
    assert total == pytest.approx(found.quantities[0].u ** 2)
    sizes = [line.contribution for line in found.budget]
    assert sizes == sorted(sizes, reverse=True)
    with pytest.raises(InputError):
        solve_feed([], instrument=Instrument(), in_force=93.0)
    with pytest.raises(InputError):
        solve_feed([FeedReading(100, 100)], instrument=Instrument(), in_force=-1.0)


def test_two_feeds_that_agree_by_chance_are_not_believed_to_the_last_digit() -> None:
    same = [FeedReading(100.0, 104.5, 120.0, 15.5)] * 2
    level = solve_feed(same, instrument=Instrument(), in_force=93.0).quantities[0]
    assert level.low95 is not None and level.high95 is not None
    assert level.high95 - level.low95 > 0.002  # a hand-made mark is not that sharp


@pytest.mark.parametrize(
    ("row", "said"),
    [
        (FeedReading(100.0, 0.0), "a cut piece of 0 mm"),
        (FeedReading(100.0, -2.0), "a cut piece of -2 mm"),
        (FeedReading(0.0, 100.0), "0 mm is no feed"),
        (FeedReading(100.0, float("nan")), "a cut piece of nan mm"),
        (FeedReading(100.0, 99.0, rate_mm_min=0.0), "0 mm/min is no rate"),
        (FeedReading(100.0, 120.0, 120.0, 0.0), "the mark went in"),
        (FeedReading(100.0, -5.0, 120.0, 125.0), "125 mm cannot remain of 120 mm"),
        (FeedReading(100.0, 0.0, 0.0, 0.0), "0 mm is no mark"),
        (FeedReading(100.0, 90.0, 120.0, 20.0), "90 mm cannot be missing"),
    ],
)
def test_what_no_filament_can_have_given_is_refused(row: FeedReading, said: str) -> None:
    sound = FeedReading(100.0, 100.0)
    with pytest.raises(InputError, match=said) as refused:
        solve_feed([sound, row], instrument=Instrument(), in_force=93.0)
    assert refused.value.where == "row 2"
    assert refused.value.hint


def test_nothing_fed_past_a_mark_is_possible_and_is_the_hardwares() -> None:
    none = _marked(120.0, 120.0, 120.0)
    assert none.proposals[0].verdict == "inspect"
    assert none.proposals[0].proposed is None
    rated = [FeedReading(100.0, 0.0, 120.0, 120.0, rate) for rate in (50, 50, 100, 100, 200, 200)]
    found = solve_feed(rated, instrument=Instrument(), in_force=93.0)
    slip = next(q for q in found.quantities if q.name == "slip_rate")
    assert (slip.low95, slip.high95) == (None, None)
    assert "nothing went in" in slip.reason


def test_two_readings_cover_too() -> None:
    # Two that happen to agree, beside the caliper's own doubt: by Welch-Satterthwaite alone the
    # interval was narrower than that of the two readings without the caliper, and held 0.93.
    rng = np.random.default_rng(2)
    scale, hits = Instrument().scale_sd, 0
    for _ in range(1500):
        caliper = 1 + rng.normal(0, scale)
        q = _marked(*(120 - 100 * caliper + rng.normal(0, 0.3, 2))).quantities[0]
        hits += q.low95 <= 1.0 <= q.high95
    assert hits / 1500 > 0.95 - 0.0112  # two standard deviations of that share
