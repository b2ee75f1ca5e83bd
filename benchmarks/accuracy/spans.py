"""Span pieces solved: errors, coverage, misreads and the cube habit, case by case.

Each case is a shape of piece, what is hidden, and an instrument. The solver is asked as a
person would ask it; what comes back is compared with the machine's truths.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from benchmarks.accuracy.experiment import Numbers
from benchmarks.accuracy.machine import NAMES, Hidden, Machine, Rows, Shape

from asleft.measure import Instrument, Quantity, Solution, SpanReading, solve_span

STEPS = {"X": 80.0, "Y": 80.0, "Z": 400.0}
CALIPER = Instrument()
MAP = ("scale X", "scale Y", "scale Z", "shear XY")
_ZEROS = {"outside": "outside", "inside": "inside", "step": "same"}


@dataclass(frozen=True)
class SpanCase:
    """One case. `shrinkage` (value, u) is stated to the solver; the true one is drawn about it."""

    name: str
    shape: Shape = field(default_factory=Shape)
    hidden: Hidden = field(default_factory=Hidden)
    instrument: Instrument = CALIPER
    kelvin: float = 2.0
    shrinkage: tuple[float, float] | None = None
    may_be_wide: bool = False
    reported_only: bool = False

    def one(self, rng: np.random.Generator) -> Numbers:
        """Errors, standard errors and hits of every quantity; misreads found and not."""
        machine = Machine(rng, self.hidden, self.instrument)
        h, u_h = self.shrinkage or (None, None)
        readings = machine.read(Rows.of(self.shape))
        found = solve(readings, self.instrument, kelvin=self.kelvin, h=h, u_h=u_h)
        truths = true_values(machine)
        if h is not None and u_h is not None:
            true_h = float(rng.normal(h, u_h))
            truths["shrinkage"] = true_h
            for axis in "XYZ":
                scale = truths[f"scale {axis}"]
                truths[f"motion {axis}"] = (1 + scale) / (1 + true_h) - 1
        numbers = compared(found, truths)
        aside = {s.row - 1 for s in found.set_aside}
        slipped = set(np.flatnonzero(machine.slipped).tolist())
        numbers |= {"slips": len(slipped), "missed": len(slipped - aside)}
        numbers |= {"good": len(readings) - len(slipped), "wronged": len(aside - slipped)}
        numbers["inspect"] = float(any(p.verdict == "inspect" for p in found.proposals))
        return numbers


@dataclass(frozen=True)
class CubeHabit:
    """One 20 mm cube read three times an axis, scale by pocket calculator, against a piece."""

    name: str = "cube habit"
    shape: Shape = field(default_factory=Shape)

    def one(self, rng: np.random.Generator) -> Numbers:
        """Errors of both on the same machine, X and Y."""
        machine = Machine(rng)
        cube = Shape(span=20.0, n=3, directions=("X", "Y"), faces=("outside",), heights=(), post=0)
        said: dict[str, list[float]] = {}
        for r in machine.read(Rows.of(cube)):
            said.setdefault(r.direction, []).append(r.reading_mm / r.nominal_mm - 1)
        numbers = compared(solve(machine.read(Rows.of(self.shape))), true_values(machine))
        truths = true_values(machine)
        habit = {f"habit {a}": float(np.mean(v)) - truths[f"scale {a}"] for a, v in said.items()}
        return numbers | habit


def solve(
    readings: list[SpanReading],
    instrument: Instrument = CALIPER,
    *,
    kelvin: float = 2.0,
    h: float | None = None,
    u_h: float | None = None,
) -> Solution:
    """The solver with everything known that an owner would know."""
    return solve_span(
        readings,
        instrument=instrument,
        in_force=STEPS,
        skew={"XY": 0.0},
        piece_temperature_u_k=kelvin,
        shrinkage=h,
        shrinkage_u=u_h,
    )


def true_values(machine: Machine) -> dict[str, float]:
    """The truths under the page's names."""
    t = dict(zip(NAMES, machine.theta.tolist(), strict=True))
    return {
        **{f"scale {a}": t[f"scale_{a}"] for a in "XYZ"},
        "shear XY": t["shear"],
        "growth": t["growth"],
        "growth X": t["growth"] + t["difference"],
        "growth Y": t["growth"] - t["difference"],
        "first layer": t["layer"],
        **{f"zero {k}": t[k] for k in ("outside", "inside", "same")},
    }


def compared(found: Solution, truths: dict[str, float]) -> dict[str, float]:
    """Columns `error`, `u`, `hit` of every quantity that the solver answers."""
    numbers: dict[str, float] = {}
    for key, q in named(found):
        if q.value is None or q.u is None or key not in truths:
            continue
        assert q.low95 is not None and q.high95 is not None
        numbers[f"error {key}"] = q.value - truths[key]
        numbers[f"u {key}"] = q.u
        numbers[f"hit {key}"] = float(q.low95 <= truths[key] <= q.high95)
    return numbers


def named(found: Solution) -> Iterator[tuple[str, Quantity]]:
    """Quantities under the page's names."""
    words = {"printed_scale": "scale", "motion_scale": "motion", "first_layer": "first layer"}
    for q in found.quantities:
        where = "" if q.name == "first_layer" else q.axis or q.plane or ""
        if q.name == "caliper_zero":
            word = next(w for w in _ZEROS if w in (q.reason or ""))
            yield f"zero {_ZEROS[word]}", q
        else:
            yield f"{words.get(q.name, q.name)} {where}".strip(), q


def cases() -> tuple[SpanCase, ...]:
    """All cases of the page."""
    small, n2 = Shape(), Shape(span=140.0, n=2)
    cube = Shape(span=20.0, n=3, directions=("X", "Y"), faces=("outside",), heights=(20.0,), post=0)
    rough = Hidden(bulge=0.05, tilt=0.02, periodic=0.015, layer_spread=0.03)
    coarse = Instrument(name="coarse caliper", resolution_mm=0.05, mpe_mm=0.05)
    return (
        SpanCase("span 95, 4 readings a face", small),
        SpanCase("span 140, 2 readings a face", n2),
        SpanCase("span 95, 3 % misreads", small, Hidden(misreads=0.03)),
        SpanCase("span 140, 3 % misreads", n2, Hidden(misreads=0.03)),
        SpanCase("cube alone", cube, may_be_wide=True),
        SpanCase("outside readings only", Shape(faces=("outside",)), may_be_wide=True),
        SpanCase("one axis", Shape(directions=("X",), heights=())),
        SpanCase("faces scatter 0.03, noise 0.01", small, Hidden(noise=0.01, face=0.03)),
        SpanCase("heights scatter twice as much", small, Hidden(z_times=2.0)),
        SpanCase("heights scatter three times as much", small, Hidden(z_times=3.0)),
        SpanCase("caliper of 0.05 mm", small, instrument=coarse),
        SpanCase("warm piece, 15 K of doubt", small, Hidden(kelvin=15.0), kelvin=15.0),
        SpanCase("shrinkage stated, −0.3 ± 0.1 %", small, shrinkage=(-0.003, 0.001)),
        SpanCase("inside zero fixed at +0.03", small, Hidden(inside_zero=0.03), reported_only=True),
        SpanCase("inside zero fixed at −0.03", small, Hidden(inside_zero=-0.03),
                 reported_only=True),
        SpanCase("effects that no solver models", Shape(n=2, pairs=2), rough, reported_only=True),
    )  # fmt: skip
