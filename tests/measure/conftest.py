"""Simulated span machines for the tests: our own generator, sharing no code with the solvers.

Truths of type-B inputs are drawn normal with the prior's standard deviation; further effects
that no solver models can be switched on. Not the practice machine: no clock, no wire.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pytest
from numpy.typing import NDArray

from asleft.measure import Instrument, SpanReading

WHERE = {
    "X": (1.0, 0.0, 0.0),
    "Y": (0.0, 1.0, 0.0),
    "Z": (0.0, 0.0, 1.0),
    "XY+": (0.5**0.5, 0.5**0.5, 0.0),
    "XY-": (0.5**0.5, -(0.5**0.5), 0.0),
}
Row = tuple[str, str, float, str]


@dataclass(frozen=True)
class Piece:
    """A span piece to be measured: posts of width 12 at a span, heights, n readings a face."""

    span: float = 95.0
    n: int = 4
    heights: tuple[float, ...] = (20.0, 60.0, 100.0)
    directions: tuple[str, ...] = ("X", "Y", "XY+", "XY-")
    faces: tuple[str, ...] = ("outside", "inside")
    pairs: int = 1

    def rows(self) -> list[Row]:
        found: list[Row] = []
        for d in self.directions:
            base = self.span if len(d) == 1 else self.span * 2**0.5
            for f in self.faces:
                length = base + {"outside": 12.0, "inside": -12.0, "same": 0.0}[f]
                for pair in range(self.pairs):
                    found += [(d, f, length, f"{d} {f} {pair}")] * self.n
        for h in self.heights:
            found += [("Z", "outside", h, f"Z {h:g}")] * self.n
        return found


@dataclass
class Machine:
    """A machine with its caliper and its person, all errors hidden. Lengths in mm."""

    rng: np.random.Generator
    instrument: Instrument = field(default_factory=Instrument)
    noise: float = 0.025
    face: float = 0.02
    z_times: float = 1.0
    misreads: float = 0.0
    scale_rms: float = 0.004
    bulge: float = 0.0
    tilt: float = 0.0
    periodic: float = 0.0
    layer_spread: float = 0.0
    kelvin: float = 2.0

    def __post_init__(self) -> None:
        r, i = self.rng, self.instrument
        self.scale = r.normal(0, self.scale_rms, 3)
        self.shear = r.normal(0, 0.002)
        self.growth = r.normal(0, 0.25)
        self.difference = r.normal(0, 0.05)
        self.force = r.normal(0, 0.03)
        self.zeros = r.normal(0, i.mpe_mm / 3**0.5, 3)
        self.caliper = r.normal(0, i.mpe_mm / 3**0.5 / i.reach_mm)
        self.layer = r.normal(0, 0.25)
        self.phase = r.uniform(0, 2 * np.pi, 3)

    def map(self) -> NDArray[np.float64]:
        m = np.diag(1 + self.scale)
        m[0, 1] = self.shear * (1 + self.scale[1])
        return m

    def read(self, rows: list[Row], change: NDArray[np.float64] | None = None) -> list[SpanReading]:
        """Print a new piece (with settings changed by `change`) and read it."""
        m = self.map() if change is None else self.map() @ change
        warm = self.rng.normal(0, 70e-6 * self.kelvin)
        faces: dict[str, float] = {}
        found = []
        for direction, jaws, length, place in rows:
            more = self.z_times if direction == "Z" else 1.0
            if place not in faces:
                faces[place] = self.rng.normal(0, self.face) * more + self._unmodelled(
                    direction, length
                )
            size = np.linalg.norm(m @ WHERE[direction]) * length * (1 + warm)
            size += self._constants(direction, jaws) + self.caliper * length + faces[place]
            size += self.rng.normal(0, self.noise) * more
            size += -abs(self.rng.normal(0, self.tilt)) if jaws == "inside" else 0.0
            size += abs(self.rng.normal(0, self.tilt)) if jaws == "outside" else 0.0
            if self.rng.random() < self.misreads:
                size += self.rng.choice([-1, 1]) * self.rng.choice([0.3, 0.5, 1.0])
            step = self.instrument.resolution_mm
            found.append(SpanReading(direction, jaws, length, round(size / step) * step, place))
        return found

    def _constants(self, direction: str, jaws: str) -> float:
        zero = self.zeros[("outside", "inside", "same").index(jaws)]
        if direction == "Z":
            return zero + (self.layer if jaws == "outside" else 0.0)
        sign = {"outside": 1.0, "inside": -1.0, "same": 0.0}[jaws]
        half = {"X": self.difference, "Y": -self.difference}.get(direction, 0.0)
        return zero + sign * (self.growth + self.force + half)

    def _unmodelled(self, direction: str, length: float) -> float:
        axis = max("XYZ".find(direction[0]), 0)
        wave = self.periodic * 2**0.5 * np.sin(2 * np.pi * length / 8 + self.phase[axis])
        spread = self.rng.normal(0, self.layer_spread) if direction == "Z" else 0.0
        return float(wave + spread + self.rng.normal(0, self.bulge) * (direction != "Z"))

    def truth(self) -> dict[tuple[str, str | None], float]:
        return {
            ("printed_scale", "X"): self.scale[0],
            ("printed_scale", "Y"): self.scale[1],
            ("printed_scale", "Z"): self.scale[2],
            ("shear", "XY"): self.shear,
            ("growth", None): self.growth,
            ("first_layer", "Z"): self.layer,
        }


@pytest.fixture
def piece() -> type[Piece]:
    return Piece


@pytest.fixture
def machine() -> Callable[..., Machine]:
    return Machine
