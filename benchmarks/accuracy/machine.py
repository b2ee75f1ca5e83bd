"""Simulated span machines: hidden truths, a printed piece, and the caliper that reads it.

Truths of type-B inputs are drawn normal with the standard deviation that the solvers state for
them. Shares no code with the solvers; readings are made here and handed over as rows.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from asleft.measure import Instrument, SpanReading

Array = NDArray[np.float64]
HALF = 0.5**0.5
WAYS = {
    "X": (1.0, 0.0, 0.0),
    "Y": (0.0, 1.0, 0.0),
    "Z": (0.0, 0.0, 1.0),
    "XY+": (HALF, HALF, 0.0),
    "XY-": (HALF, -HALF, 0.0),
}
NAMES = (
    "scale_X", "scale_Y", "scale_Z", "shear", "growth", "difference", "outside", "inside",
    "same", "caliper", "layer", "warm", "force",
)  # fmt: skip
SLIPS_MM = (0.3, 0.5, 1.0)


@dataclass(frozen=True)
class Shape:
    """A span piece and how often each of its faces is read. Lengths in mm."""

    span: float = 95.0
    n: int = 4
    pairs: int = 1
    directions: tuple[str, ...] = ("X", "Y", "XY+", "XY-")
    faces: tuple[str, ...] = ("outside", "inside")
    heights: tuple[float, ...] = (20.0, 60.0, 100.0)
    post: float = 12.0

    def places(self) -> list[tuple[str, str, float, str]]:
        """Direction, faces, drawn size and name of every place."""
        found = []
        for d in self.directions:
            base = self.span if len(d) == 1 else self.span * 2**0.5
            for f in self.faces:
                length = base + {"outside": self.post, "inside": -self.post}[f]
                found += [(d, f, length, f"{d} {f} {k}") for k in range(self.pairs)]
        found += [("Z", "outside", h, f"Z {h:g} {k}") for h in self.heights
                  for k in range(self.pairs)]  # fmt: skip
        return found


@dataclass(frozen=True)
class Hidden:
    """How a machine, its piece and its person misbehave. Lengths in mm, standard deviations."""

    noise: float = 0.025
    face: float = 0.02
    z_times: float = 1.0
    misreads: float = 0.0
    kelvin: float = 2.0
    scale: float = 0.004
    scale_uniform: tuple[float, float] | None = None
    inside_zero: float | None = None
    bulge: float = 0.0
    tilt: float = 0.0
    periodic: float = 0.0
    layer_spread: float = 0.0


@dataclass(frozen=True)
class Rows:
    """Every reading that is to be taken, as arrays of length n; `place` numbers the faces."""

    names: list[tuple[str, str, float, str]]
    way: Array
    length: Array
    sign: Array
    jaw: NDArray[np.intp]
    is_z: NDArray[np.bool_]
    place: NDArray[np.intp]

    @classmethod
    def of(cls, shape: Shape) -> Rows:
        """All places of a piece, each as often as it is read."""
        places = shape.places()
        index = np.repeat(np.arange(len(places)), shape.n)
        names = [places[int(i)] for i in index]
        jaw = np.array([("outside", "inside", "same").index(f) for _, f, _, _ in names])
        is_z = np.array([d == "Z" for d, *_ in names])
        return cls(
            names=names,
            way=np.array([WAYS[d] for d, *_ in names]),
            length=np.array([length for _, _, length, _ in names]),
            sign=np.where(is_z, 0.0, np.array([1.0, -1.0, 0.0])[jaw]),
            jaw=jaw,
            is_z=is_z,
            place=index,
        )

    def first(self, n: int, *, elsewhere: bool) -> Rows:
        """The first `n`, round after round: at the same places, or each round at new ones."""
        order = np.resize(np.arange(len(self.names)), n)
        turn = (np.arange(n) // len(self.names) + 1) * elsewhere
        names = [(*self.names[int(i)][:3], self.names[int(i)][3] + " again" * int(t))
                 for i, t in zip(order, turn, strict=True)]  # fmt: skip
        parts = (getattr(self, k)[order] for k in ("way", "length", "sign", "jaw", "is_z"))
        return Rows(names, *parts, place=self.place[order] + turn * (self.place.max() + 1))


def size_mm(rows: Rows, theta: Array, change: Array | None = None) -> Array:
    """What the caliper would show without any scatter, for the truths `theta` (`NAMES`)."""
    t = dict(zip(NAMES, theta, strict=True))
    m = np.diag(1.0 + theta[:3])
    m[0, 1] = t["shear"] * (1.0 + t["scale_Y"])
    if change is not None:
        m = m @ change
    stretch = np.linalg.norm(rows.way @ m.T, axis=1)
    along = rows.way[:, 0] ** 2 - rows.way[:, 1] ** 2  # 1 on X, −1 on Y, 0 on diagonals
    zero = np.array([t["outside"], t["inside"], t["same"]])[rows.jaw]
    grown = rows.sign * (t["growth"] + t["force"] + t["difference"] * along)
    bed = np.where(rows.is_z & (rows.jaw == 0), t["layer"], 0.0)
    return stretch * rows.length * (1 + t["warm"]) + t["caliper"] * rows.length + grown + zero + bed


@dataclass
class Machine:
    """One machine with its caliper and its person."""

    rng: np.random.Generator
    hidden: Hidden = field(default_factory=Hidden)
    instrument: Instrument = field(default_factory=Instrument)

    def __post_init__(self) -> None:
        r, h = self.rng, self.hidden
        self.theta = r.normal(0, sds(self.instrument, h))
        if h.scale_uniform is not None:
            low, high = h.scale_uniform
            self.theta[:4] = r.uniform(low, high, 4) * r.choice([-1.0, 1.0], 4)
        if h.inside_zero is not None:
            self.theta[NAMES.index("inside")] = h.inside_zero
        self.phase = r.uniform(0, 2 * np.pi, 3)
        self.slipped = np.zeros(0, dtype=bool)
        self.faces: dict[str, float] = {}

    def read(self, rows: Rows, change: Array | None = None) -> list[SpanReading]:
        """Print a piece and read it; `slipped` then tells which readings are misreads."""
        r, h, n = self.rng, self.hidden, len(rows.names)
        theta = self.theta.copy()
        if change is not None:  # a second piece: much of its own
            theta[NAMES.index("warm")] = r.normal(0, 70e-6 * h.kelvin)
            theta[NAMES.index("growth")] += r.normal(0, 0.015)
            theta[NAMES.index("layer")] += r.normal(0, 0.02)
            self.faces.clear()
        times = np.where(rows.is_z, h.z_times, 1.0)
        face = np.array([self._face_mm(name) for _, _, _, name in rows.names]) * times
        size = size_mm(rows, theta, change) + face + self._unmodelled(rows)
        size += r.normal(0, h.noise, n) * times
        size += rows.sign * np.abs(r.normal(0, h.tilt, n))
        self.slipped = r.random(n) < h.misreads
        size += self.slipped * r.choice([-1, 1], n) * r.choice(SLIPS_MM, n)
        step = self.instrument.resolution_mm
        shown = np.round(size / step) * step
        return [SpanReading(d, f, length, float(y), p)  # type: ignore[arg-type]
                for (d, f, length, p), y in zip(rows.names, shown, strict=True)]  # fmt: skip

    def _face_mm(self, name: str) -> float:
        """Scatter of a face, the same whenever it is read."""
        if name not in self.faces:
            self.faces[name] = float(self.rng.normal(0, self.hidden.face))
        return self.faces[name]

    def _unmodelled(self, rows: Rows) -> Array:
        """What no solver knows of: corner bulge, periodic pulley error, uneven first layer."""
        r, h, count = self.rng, self.hidden, int(rows.place.max()) + 1
        axis = np.argmax(np.abs(rows.way), axis=1)
        turn = np.sin(2 * np.pi * rows.length / 8.0 + self.phase[axis])
        bulge = r.normal(0, h.bulge, count)[rows.place] * ~rows.is_z
        layer = r.normal(0, h.layer_spread, count)[rows.place] * rows.is_z
        return np.asarray(h.periodic * 2**0.5 * turn + bulge + layer)


def sds(instrument: Instrument, hidden: Hidden) -> Array:
    """Standard deviations of the truths, in the order of `NAMES`."""
    zero = instrument.mpe_mm / 3**0.5
    return np.array([hidden.scale, hidden.scale, hidden.scale, 0.002, 0.25, 0.05, zero, zero,
                     zero, zero / instrument.reach_mm, 0.25, 70e-6 * hidden.kelvin,
                     0.03])  # fmt: skip
