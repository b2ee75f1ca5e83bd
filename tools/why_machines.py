"""Invented machines for the page "why not one cube": what a cube, and what a span piece, leaves.

Machines, pieces and caliper are drawn here and share nothing with the estimates that are judged;
each machine has a chance of its own, so that the first hundred of a thousand are the same hundred.
Not for pictures: `why_pictures` draws what this computes.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from asleft.measure import Instrument, Solution, SpanReading, solve_span

Pair = NDArray[np.float64]
"""Something of X and of Y."""

CUBE_MM, CUBE_READINGS = 20.0, 3
PITCH_MM, POST_MM, PAIRS = 95.0, 12.0, 2
STEPS = 80.0
CALIPER = Instrument()
WAYS = {
    "X": (1.0, 0.0),
    "Y": (0.0, 1.0),
    "XY+": (0.5**0.5, 0.5**0.5),
    "XY-": (0.5**0.5, -(0.5**0.5)),
}


@dataclass(frozen=True)
class World:
    """How far machines, pieces and hands are off; all invented, standard deviations, mm or shares.

    `growth` and `growth_sd`: mean and spread between machines of how fat a print is, both faces
    together; `again_sd` from one print to the next of the same machine. `periodic` is the error of
    a pulley, which no estimate knows of.
    """

    scale: float = 0.004
    shear: float = 0.002
    growth: float = 0.10
    growth_sd: float = 0.08
    again_sd: float = 0.015
    face: float = 0.02
    hand: float = 0.025
    periodic: float = 0.015


RIGHT = World(scale=0.0, shear=0.0, growth=0.0, growth_sd=0.0, again_sd=0.0, periodic=0.0)
"""Machines with nothing wrong: what is read off is the noise of face, hand and caliper."""


class Machine:
    """One machine with its caliper. `scale` is what is wrong with X and Y now, as shares."""

    def __init__(self, world: World, seed: int, number: int) -> None:
        self.world, self.chance = world, np.random.default_rng([seed, number])
        draw = self.chance.normal
        self.scale: Pair = draw(0, world.scale, 2)
        self.shear = float(draw(0, world.shear))
        self.growth_mm = float(draw(world.growth, world.growth_sd))
        zero_mm = CALIPER.mpe_mm / 3**0.5
        self.zero_mm = {"outside": float(draw(0, zero_mm)), "inside": float(draw(0, zero_mm))}
        self.caliper_scale = float(draw(0, zero_mm / CALIPER.reach_mm))

    def _read(self, size_mm: float, outside: bool) -> float:
        """What the caliper shows of a printed size: its own error, a hand, a rounded digit."""
        zero = self.zero_mm["outside" if outside else "inside"]
        seen = size_mm * (1 + self.caliper_scale) + zero + self.chance.normal(0, self.world.hand)
        return float(round(seen, 2))

    def cube(self) -> Pair:
        """Print a cube and read it three times an axis: the means, mm."""
        grown = self.growth_mm + self.chance.normal(0, self.world.again_sd)
        size = (1 + self.scale) * CUBE_MM + grown + self.chance.normal(0, self.world.face, 2)
        size = size + self.chance.normal(0, self.world.periodic, 2)
        return np.array(
            [np.mean([self._read(s, True) for _ in range(CUBE_READINGS)]) for s in size]
        )

    def span(self) -> list[SpanReading]:
        """Print a span piece and read each of its sixteen places once."""
        grown = self.growth_mm + self.chance.normal(0, self.world.again_sd)
        motion = np.diag(1 + self.scale)
        motion[0, 1] = self.shear * motion[1, 1]
        return [
            SpanReading(way, faces, round(drawn, 2), self._read(size, sign > 0), f"{way} {place}")  # type: ignore[arg-type]
            for way, faces, sign, drawn, place in _places()
            for size in [
                drawn * float(np.linalg.norm(motion @ WAYS[way]))
                + sign * grown
                + self.chance.normal(0, self.world.face)
                + self.chance.normal(0, self.world.periodic)
            ]
        ]


def _places() -> Iterator[tuple[str, str, int, float, int]]:
    for way in WAYS:
        pitch = PITCH_MM * (1 if len(way) == 1 else math.sqrt(2))
        for faces, sign in (("outside", 1), ("inside", -1)):
            for place in range(PAIRS):
                yield way, faces, sign, round(pitch + sign * POST_MM, 2), place + 2 * (sign < 0)


def solved(readings: list[SpanReading]) -> Solution:
    """The package's own estimate, asked as an owner would ask it."""
    steps = {"X": STEPS, "Y": STEPS}
    return solve_span(readings, instrument=CALIPER, in_force=steps, skew={"XY": 0.0})


def by_cube(machine: Machine) -> Pair:
    """The habit: what is missing from 20 mm goes into the steps. What the cube showed, mm."""
    shown = machine.cube()
    machine.scale = (1 + machine.scale) * CUBE_MM / shown - 1
    return shown


def by_span(machine: Machine) -> int:
    """The steps that the estimate tells to adjust, adjusted; how many of X and Y that were."""
    changed = 0
    for p in solved(machine.span()).proposals:
        if p.setting == "steps_per_mm" and p.verdict == "adjust" and p.proposed is not None:
            which = "XY".index(p.axis or "")
            machine.scale[which] = (1 + machine.scale[which]) * p.proposed / STEPS - 1
            changed += 1
    return changed


@dataclass(frozen=True)
class Outcome:
    """Of n machines: scale errors after each round, (rounds + 1, n, 2), the first as found.

    `shown_mm` (rounds, n, 2) is what the cube read; `changed` (rounds, n) how many of X and Y the
    span piece had adjusted.
    """

    cube: NDArray[np.float64]
    span: NDArray[np.float64]
    shown_mm: NDArray[np.float64]
    changed: NDArray[np.intp]


def evenings(world: World, machines: int, rounds: int, seed: int) -> Outcome:
    """The same machines taken to both, evening after evening."""
    cube, span, shown, changed = [], [], [], []
    for number in range(machines):
        by_habit, by_piece = Machine(world, seed, number), Machine(world, seed, number)
        after = [(by_habit.scale.copy(), by_piece.scale.copy())]
        for _ in range(rounds):
            shown.append(by_cube(by_habit))
            changed.append(by_span(by_piece))
            after.append((by_habit.scale.copy(), by_piece.scale.copy()))
        cube.append([pair[0] for pair in after])
        span.append([pair[1] for pair in after])
    return Outcome(
        np.array(cube).transpose(1, 0, 2),
        np.array(span).transpose(1, 0, 2),
        np.array(shown).reshape(machines, rounds, 2).transpose(1, 0, 2),
        np.array(changed).reshape(machines, rounds).T,
    )


def rms(values: NDArray[np.float64]) -> float:
    """Root of the mean square."""
    return float(np.sqrt(np.mean(values**2)))
