"""Simulated years of workshops: how often steady, step, drift and worn caliper are called right.

The years are made here from plain chance and share no code with what judges them: stated
uncertainties that are somewhat wrong, a room with seasons, odd evenings, events noted or not.

    python -m benchmarks.drift [--machines 500] [--years 5] [--visits 3] ...
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import dataclass

import numpy as np

from asleft.measure.years.drift import Series, judge_series
from asleft.measure.years.shared import judge_instrument

AXES = 3
U = 3e-4  # of a printed scale, as a usual span piece leaves it (docs/accuracy.md)
CALIPER_U = 1.2e-4  # of the caliper's own scale
TOLERANCE = 1e-3
CALLS = ("steady", "unknown", "changed", "step", "drift")
START = 2021.0


@dataclass(frozen=True)
class Truth:
    """What really happened to one axis (or one caliper): relative sizes, slope per year."""

    kind: str
    at: float = 0.0
    size: float = 0.0
    noted: bool = False

    def moved(self, at: np.ndarray) -> np.ndarray:
        if self.kind == "step":
            return np.where(at >= self.at, self.size, 0.0)
        return self.size * (at - START) if self.kind == "drift" else np.zeros(at.size)


@dataclass(frozen=True)
class Setting:
    """Years simulated, calibrations a year, factor on all sizes, machines that share a caliper."""

    years: float
    visits: float
    sizes: float
    together: int


def draw_truth(chance: np.random.Generator, given: Setting, share: float) -> Truth:
    """Nothing, or with `share` a step of 0.15 to 0.6 % or a drift of 0.06 to 0.2 % a year."""
    size = given.sizes * float(chance.choice([-1.0, 1.0]))
    if chance.random() >= share:
        return Truth("none")
    if chance.random() < 0.5:
        at = START + given.years * chance.uniform(0.2, 0.8)
        return Truth("step", at, size * chance.uniform(1.5e-3, 6e-3), bool(chance.random() < 0.5))
    return Truth("drift", START, size * chance.uniform(6e-4, 2e-3))


def make_machine(
    chance: np.random.Generator, name: str, given: Setting, caliper: Truth
) -> list[tuple[Series, Truth]]:
    """One machine's axes over the years; one of them may have moved."""
    gaps = chance.gamma(3.0, 1 / (3.0 * given.visits), 400)
    at = START + np.cumsum(gaps)
    at = at[at < START + given.years]
    own = draw_truth(chance, given, 0.5)
    which = int(chance.integers(AXES))
    season = 1e-4 * np.sin(2 * np.pi * at + chance.uniform(0, 6.28))
    worse = float(np.exp(chance.normal(0, 0.2)))  # stated u is not the truth
    made = []
    for axis in range(AXES):
        truth = own if axis == which else Truth("none")
        stated = U * np.exp(chance.normal(0, 0.15, at.size))
        value = (
            chance.normal(0, 3e-3) + truth.moved(at) + caliper.moved(at) + season
            + worse * U * chance.standard_normal(at.size)
        )  # fmt: skip
        events = ((truth.at, "a belt was replaced"),) if truth.noted else ()
        stray = ((START + given.years * float(chance.random()), "a belt was tightened"),)
        events += stray if chance.random() < 0.3 else ()
        series = Series(
            name, "1", at, value, stated, ("caliper",) * at.size,
            np.full(at.size, CALIPER_U), tuple(sorted(events)), TOLERANCE,
        )  # fmt: skip
        made.append((series, truth))
    return made


def run(machines: int, given: Setting, seed: int) -> tuple[Counter, Counter]:
    """Counts of (truth, call): of axes, and of calipers."""
    chance = np.random.default_rng(seed)
    axes: Counter[tuple[str, str]] = Counter()
    calipers: Counter[tuple[str, str]] = Counter()
    for workshop in range(-(-machines // given.together)):
        caliper = draw_truth(chance, given, 0.4)
        count = min(given.together, machines - workshop * given.together)
        all_axes = [
            pair for k in range(count) for pair in make_machine(chance, f"{k}", given, caliper)
        ]
        common = judge_instrument([series for series, _ in all_axes], "caliper")
        calipers[caliper.kind, common.call] += 1
        for series, truth in all_axes:
            call = judge_series(series.less(common.in_series(series, "caliper"))).call
            worn = "" if caliper.kind == "none" else ", worn caliper"
            noted = " at an event" if truth.noted else ""
            axes[truth.kind + noted + worn, call] += 1
    return axes, calipers


def table(title: str, counts: Counter[tuple[str, str]]) -> list[str]:
    """Truth by rows, calls by columns, in per cent of the row."""
    lines = [f"| {title} | n | " + " | ".join(CALLS) + " |", "|---|--:|" + "--:|" * len(CALLS)]
    for truth in sorted({truth for truth, _ in counts}):
        n = sum(counts[truth, call] for call in CALLS)
        rates = " | ".join(f"{100 * counts[truth, call] / n:.1f} %" for call in CALLS)
        lines.append(f"| {truth} | {n} | {rates} |")
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--machines", type=int, default=500)
    parser.add_argument("--years", type=float, default=5.0)
    parser.add_argument("--visits", type=float, default=3.0, help="calibrations a year")
    parser.add_argument("--sizes", type=float, default=1.0, help="factor on what moves")
    parser.add_argument("--together", type=int, default=4, help="machines that share a caliper")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    setting = Setting(given.years, given.visits, given.sizes, given.together)
    axes, calipers = run(given.machines, setting, given.seed)
    print(
        f"{given.machines} machines, {given.years:g} years, {given.visits:g} calibrations a year,"
        f" sizes times {given.sizes:g}, {given.together} machines a caliper, seed {given.seed}\n"
    )
    print("\n".join(table("an axis was", axes)), end="\n\n")
    print("\n".join(table("a caliper was", calipers)))


if __name__ == "__main__":
    main()
