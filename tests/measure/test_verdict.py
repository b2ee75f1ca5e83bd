"""The rule of decision, and whether "so many more readings" is honest."""

from dataclasses import replace

import numpy as np
import pytest

from asleft.measure.verdict import Evidence, judge, more_readings

BASE = Evidence(
    error=0.0,
    u=0.00025,
    dof=float("inf"),
    tolerance=0.001,
    u_readings=0.0002,
    readings=16,
    largest="the scatter",
    remedy="check the caliper",
    plausible=0.03,
)


@pytest.mark.parametrize(
    ("error", "u", "verdict", "provisional"),
    [
        (0.0, 0.00025, "leave", False),
        (0.0002, 0.0002, "leave", False),
        (0.0008, 0.00025, "measure_more", False),
        (0.0010, 0.00025, "adjust", False),
        (-0.0010, 0.00025, "adjust", False),
        (0.0030, 0.00100, "adjust", True),
        (0.0020, 0.00100, "measure_more", False),
        (0.0310, 0.00025, "inspect", False),
    ],
)
def test_the_rule(error: float, u: float, verdict: str, provisional: bool) -> None:
    judged = judge(replace(BASE, error=error, u=u, u_readings=min(u, 0.0002)))
    assert (judged.verdict, judged.provisional) == (verdict, provisional)


def test_trouble_comes_first() -> None:
    judged = judge(replace(BASE, trouble="rows 1, 2 contradict each other"))
    assert judged.verdict == "inspect"
    assert "rows 1, 2" in judged.reason


def test_sound_machines_are_seldom_told_to_change() -> None:
    # Uniform within T/2, u = T/4: at most 2.5 % (ours); without the guard it would be 12 %.
    rng = np.random.default_rng(11)
    told = 0
    for true in rng.uniform(-0.0005, 0.0005, 3000):
        told += judge(replace(BASE, error=true + rng.normal(0, 0.00025))).verdict == "adjust"
    assert told / 3000 <= 0.025


def test_bad_machines_are_mended() -> None:
    rng = np.random.default_rng(12)
    mended = 0
    for true in rng.uniform(0.002, 0.01, 2000):
        estimate = true + rng.normal(0, 0.00025)
        adjusted = judge(replace(BASE, error=estimate)).verdict == "adjust"
        mended += adjusted and abs(true - estimate) < 0.001
    assert mended / 2000 >= 0.98


@pytest.mark.parametrize("error", [0.0006, 0.0008])
def test_so_many_more_readings_do_decide(error: float) -> None:
    # Draw the truth from today's estimate, take the advice, judge again.
    e = replace(BASE, error=error, u=0.0003, u_readings=0.00029)
    more = more_readings(e)
    assert more is not None
    rng = np.random.default_rng(13)
    fixed = (e.u**2 - e.u_readings**2) ** 0.5
    u = np.hypot(fixed, e.u_readings / np.sqrt(1 + more / e.readings))
    decided = 0
    for _ in range(1000):
        estimate = rng.normal(e.error, np.sqrt(e.u**2 - u**2))
        decided += judge(replace(e, error=estimate, u=u)).verdict != "measure_more"
    assert decided / 1000 >= 0.78


def test_no_number_of_readings() -> None:
    e = replace(BASE, error=0.0007, u=0.0006, u_readings=0.0001)
    assert more_readings(e) is None
    assert "no number of readings" in judge(e).reason
    assert "check the caliper" in judge(e).reason


@pytest.mark.parametrize(
    ("error", "u", "unit", "said"),
    [
        (0.06828, 0.0144852, "%", "+6.8 % ± 2.8 %"),
        (-0.0459, 0.000823, "%", "-4.59 % ± 0.16 %"),
        (0.00616, 0.000245, "%", "+0.616 % ± 0.048 %"),
        (0.2, 0.00051, "mm", "+0.2000 mm ± 0.0010 mm"),  # 0.000 9996 is two digits too
        (0.004, 0.0000204, "%", "+0.4000 % ± 0.0040 %"),
    ],
)
def test_a_doubt_is_said_with_two_digits(error, u, unit, said) -> None:
    # JCGM 100, 7.2.6: at most two significant digits, and the estimate to the same place.
    found = judge(
        Evidence(error, u, 1e9, abs(error) / 3, u, 4, "the hand", "a longer piece", unit=unit)
    )
    assert said in found.reason


def test_few_readings_are_guarded_as_well_as_many() -> None:
    # An extruder off by half its tolerance, four feeds whose u is a quarter of it: told to change
    # in at most 5 of 100 (one side of the guard); the normal factor 1.645 told 9.
    from asleft.measure import FeedReading, Instrument, solve_feed

    rng = np.random.default_rng(9)
    told, n = 0, 1000
    for _ in range(n):
        left = 120 - rng.normal(100.5, 0.5, 4)
        readings = [FeedReading(100.0, 120 - r, 120.0, r) for r in left]
        (p,) = solve_feed(readings, instrument=Instrument(), in_force=93.0).proposals
        told += p.verdict == "adjust"
    assert told / n < 0.05 + 0.0138  # two standard deviations of that share
