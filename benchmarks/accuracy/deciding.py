"""Verdicts judged by what becomes of the machines: left alone, mended, or told to measure more.

Every experiment takes whole pieces through the solver; nothing is decided on numbers made up
here. T stands for the tolerance of each quantity.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace

import numpy as np
from benchmarks.accuracy.experiment import Numbers
from benchmarks.accuracy.machine import Hidden, Machine, Rows, Shape
from benchmarks.accuracy.spans import MAP, named, solve, true_values

from asleft.measure import Solution, Tolerance

LIMITS = {**dict.fromkeys(MAP[:3], Tolerance().scale), MAP[3]: Tolerance().shear}
_MORE = re.compile(r"about (\d+) more readings")


def verdicts(found: Solution) -> dict[str, tuple[str, bool, str]]:
    """Verdict, whether provisional, and reason by the page's names."""
    said = {}
    for p in found.proposals:
        word = {"steps_per_mm": "scale", "skew": "shear"}.get(p.setting)
        if word:
            said[f"{word} {p.axis}"] = (p.verdict, p.provisional, p.reason)
    return said


@dataclass(frozen=True)
class SoundMachines:
    """Machines truly within T/2 (uniform), where u ≤ T/4: how many are told to change."""

    name: str
    shape: Shape = field(default_factory=Shape)

    def one(self, rng: np.random.Generator) -> Numbers:
        """`told` by quantity."""
        machine = Machine(rng, Hidden(scale_uniform=(0.0, 0.0005)))
        found = solve(machine.read(Rows.of(self.shape)))
        u, said = {k: q.u for k, q in named(found)}, verdicts(found)
        numbers = {}
        for key, limit in LIMITS.items():
            if (u[key] or 1.0) <= limit / 4:
                numbers[f"told {key}"] = float(said[key][0] == "adjust")
                numbers[f"left {key}"] = float(said[key][0] == "leave")
        return numbers


@dataclass(frozen=True)
class BadMachines:
    """Machines off by 2T to 10T: adjusted, and truly within T afterwards."""

    name: str
    shape: Shape = field(default_factory=Shape)

    def one(self, rng: np.random.Generator) -> Numbers:
        """`mended` by quantity; a provisional adjustment counts too, it is said to be one."""
        machine = Machine(rng, Hidden(scale_uniform=(0.002, 0.010)))
        found = solve(machine.read(Rows.of(self.shape)))
        value, said = {k: q.value for k, q in named(found)}, verdicts(found)
        truths, numbers = true_values(machine), {}
        for key, limit in LIMITS.items():
            left = truths[key] - (value[key] or 0.0)
            numbers[f"mended {key}"] = float(said[key][0] == "adjust" and abs(left) <= limit)
        return numbers


@dataclass(frozen=True)
class MoreReadings:
    """Those told "about n more readings": is it decided after taking n more of the same piece?

    They are taken as the advice says: along the axis or diagonals in question, round after
    round, at the same places or at places not read yet.
    """

    name: str
    shape: Shape
    scale: float = 0.0008

    def one(self, rng: np.random.Generator) -> Numbers:
        """`decided` and `more` for every quantity that was told a number."""
        machine = Machine(rng, Hidden(scale=self.scale))
        machine.theta[3] = rng.normal(0, self.scale)
        readings = machine.read(Rows.of(self.shape))
        numbers: dict[str, float] = {}
        for key, (verdict, _, reason) in verdicts(solve(readings)).items():
            match, letters = _MORE.search(reason), key.split()[1]
            numbers[f"undecided {key}"] = float(verdict == "measure_more")
            if match is None:
                continue
            more, elsewhere = int(match[1]), "not read yet" in reason
            rows = Rows.of(_along(self.shape, letters)).first(more, elsewhere=elsewhere)
            again = verdicts(solve([*readings, *machine.read(rows)]))[key][0]
            word = "new" if elsewhere else "same"
            numbers[f"decided {word} {key}"] = float(again != "measure_more")
            numbers[f"more {word} {key}"] = more
        return numbers


def _along(shape: Shape, letters: str) -> Shape:
    """The part of a piece that tells of an axis or of a plane's diagonals."""
    if letters == "Z":
        return replace(shape, directions=(), n=1)
    wanted = tuple(d for d in shape.directions if d.rstrip("+-") == letters)
    return replace(shape, directions=wanted, heights=(), n=1)
