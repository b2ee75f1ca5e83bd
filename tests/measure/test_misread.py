"""Misreads: found, also in pairs, and told honestly where nobody can say which."""

from dataclasses import replace

import numpy as np
import pytest

from asleft.measure import Instrument, SpanReading, solve_span

STEPS = {"X": 80.0, "Y": 80.0, "Z": 400.0}


def _solve(readings):
    return solve_span(readings, instrument=Instrument(), in_force=STEPS, skew=None)


def _shifted(readings, **by: float):
    return [
        replace(r, reading_mm=r.reading_mm + by.get(f"r{i}", 0.0)) for i, r in enumerate(readings)
    ]


@pytest.mark.parametrize("size", [0.3, -0.5, 1.0, -10.0])
def test_one_misread_is_named_and_does_no_harm(piece, machine, size: float) -> None:
    good = machine(np.random.default_rng(31)).read(piece().rows())
    found, clean = _solve(_shifted(good, r5=size)), _solve(good)
    assert [s.row for s in found.set_aside] == [6]
    assert f"{size:+.1f}"[:3] in found.set_aside[0].why or abs(size) < 1
    for a, b in zip(found.quantities, clean.quantities, strict=True):
        if a.u:
            assert abs(a.value - b.value) < 1.5 * b.u


def test_a_masked_pair_is_found(piece, machine) -> None:
    # Two of four repeats at one place, both 0.5 mm too large, hide each other.
    good = machine(np.random.default_rng(32)).read(piece().rows())
    assert [s.row for s in _solve(_shifted(good, r8=0.5, r9=0.5)).set_aside] == [9, 10]


def test_three_in_a_hundred(piece, machine) -> None:
    missed = wrong = good = bad = 0
    for seed in range(60):
        quiet = machine(np.random.default_rng(seed))
        readings = quiet.read(piece().rows())
        rng = np.random.default_rng(1000 + seed)
        which = np.flatnonzero(rng.random(len(readings)) < 0.03)
        sizes = rng.choice([-1.0, -0.5, -0.3, 0.3, 0.5, 1.0], which.size)
        shifts = {f"r{i}": s for i, s in zip(which, sizes, strict=True)}
        aside = {s.row - 1 for s in _solve(_shifted(readings, **shifts)).set_aside}
        missed += len(set(which) - aside)
        wrong += len(aside - set(which))
        bad, good = bad + which.size, good + len(readings) - which.size
    assert missed / bad < 0.05
    assert wrong / good < 1 / 200


def test_one_reading_a_height_cannot_locate(piece, machine) -> None:
    good = machine(np.random.default_rng(33)).read(piece(n=4, heights=()).rows())
    for wrong in range(3):
        heights = [
            SpanReading("Z", "outside", h, h + (0.3 if k == wrong else 0.0), None)
            for k, h in enumerate((20.0, 60.0, 100.0))
        ]
        found = _solve([*good, *heights])
        assert not found.set_aside
        by_axis = {p.axis: p for p in found.proposals if p.setting == "steps_per_mm"}
        assert by_axis["Z"].verdict == "inspect"
        assert by_axis["X"].verdict != "inspect"
        assert "contradict" in by_axis["Z"].reason


def test_two_readings_that_disagree(piece) -> None:
    rows = [SpanReading("X", "outside", 100.0, y, "a") for y in (100.0, 100.6)]
    found = _solve(rows)
    assert not found.set_aside
    assert found.proposals[0].verdict == "inspect"
