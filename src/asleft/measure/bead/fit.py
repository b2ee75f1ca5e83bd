"""The bead's fit: widths on one centre line, a mass and a diameter, jointly, with stated priors.

Model of a width: y = φ·(w − β) + β + g + zero, β = h·(1−π/4) the bulge of a stadium of height h.
Decides nothing: verdicts and words are made in `bead`. Stands on `linear` and `instrument`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from asleft.errors import InputError
from asleft.measure.chance import coverage_factor
from asleft.measure.instrument import Instrument
from asleft.measure.linear import Array, LinearFit, least_squares
from asleft.measure.readings import BeadReading
from asleft.measure.result import BudgetLine, Quantity

SHAPE_SD_MM = 0.05  # how far a real bead is from a stadium, both sides; a guess, ours
READING_SD_MM = 0.02  # a wall across the jaws, before any reading; worth one reading; ours
FLOW_SD = 2.0  # so wide that it only keeps what nobody measured finite
BULGE = 1 - math.pi / 4  # a stadium is this times its height wider than its mean wall


@dataclass(frozen=True)
class Extrusion:
    """How the piece was extruded, where a balance is to settle the flow.

    `filament_mm` is the length of filament that the file feeds for the whole piece,
    `filament_diameter_mm` the diameter that the slicing profile has. `measured_diameter_mm`,
    with `diameter_u_mm`, is the real one: where feed is right, it alone tells flow.
    """

    layer_mm: float = 0.2
    filament_mm: float | None = None
    filament_diameter_mm: float = 1.75
    density_g_cm3: float | None = None
    density_u_g_cm3: float = 0.02
    balance_u_g: float = 0.01
    measured_diameter_mm: float | None = None
    diameter_u_mm: float = 0.01
    feed_u: float = 0.005

    def __post_init__(self) -> None:
        """Refuse what no extrusion can be."""
        for what, value in vars(self).items():
            if value is not None and not 0 < value < math.inf:
                raise InputError(
                    f"{value:g} is impossible here", hint="Give a size above 0.", where=what
                )


@dataclass(frozen=True)
class BeadFit:
    """Fit of (flow, growth, zero, mass factor, fed length) with its reading scatter."""

    linear: LinearFit
    design: Array
    sd: Array
    prior_mean: Array
    prior_sd: Array
    names: tuple[str, ...]
    other_ways: tuple[str, ...]
    widths: int
    reading_sd_mm: float
    scatter_dof: float

    def u(self, k: int) -> float:
        """Standard uncertainty of parameter k."""
        return math.sqrt(float(self.linear.covariance[k, k]))

    def by_scatter(self, k: int) -> float:
        """The part of u that the scatter of width readings gives."""
        pull = self.linear.covariance[k] @ (self.design / self.sd[:, None] ** 2).T
        return float(np.linalg.norm(pull[: self.widths] * self.sd[: self.widths]))

    def dof(self, k: int) -> float:
        """Degrees of freedom of u: type-B inputs count as sure."""
        part = self.by_scatter(k)
        return self.scatter_dof * (self.u(k) / part) ** 4 if part > 0 else math.inf

    def quantity(self, name: str, k: int, axis: str | None) -> Quantity:
        """A parameter with its interval."""
        value, u = float(self.linear.values[k]), self.u(k)
        half = coverage_factor(self.dof(k)) * u
        unit = "1" if name == "flow" else "mm"
        return Quantity(name, value, u, value - half, value + half, unit, axis)

    def budget(self, quantity: str, k: int) -> tuple[BudgetLine, ...]:
        """Every input of parameter k, largest first."""
        part = self.by_scatter(k)
        lines = [
            BudgetLine(quantity, "scatter of a width", "A", self.reading_sd_mm,
                       part / self.reading_sd_mm, part)
        ]  # fmt: skip
        pull = self.linear.covariance[k] @ (self.design / self.sd[:, None] ** 2).T
        for i, name in enumerate(self.other_ways, start=self.widths):
            sd = float(self.sd[i])
            lines.append(
                BudgetLine(quantity, name, "B", sd, float(pull[i]), abs(float(pull[i])) * sd)
            )
        for j, name in enumerate(self.names):
            sd = float(self.prior_sd[j])
            sensitivity = float(self.linear.covariance[k, j]) / sd**2
            if name:
                lines.append(
                    BudgetLine(quantity, name, "B", sd, sensitivity, abs(sensitivity) * sd)
                )
        return tuple(sorted(lines, key=lambda line: -line.contribution))


def fit_bead(
    readings: Sequence[BeadReading],
    masses_g: Sequence[float],
    instrument: Instrument,
    extrusion: Extrusion,
) -> BeadFit:
    """Fit widths, masses of the whole piece and diameter together, as checked by the caller."""
    bulge = extrusion.layer_mm * BULGE
    drawn = np.array([r.drawn_width_mm for r in readings])
    read = np.array([r.reading_mm for r in readings])
    sd, dof = _scatter(drawn, read, instrument)
    n = drawn.size
    rows = np.zeros((n, 5))
    rows[:, 0], rows[:, 1], rows[:, 2] = drawn - bulge, 1.0, 1.0
    target, sds = read - bulge, np.full(n, sd)
    more, wanted, its_sd, ways = _other_ways(masses_g, extrusion)
    rows = np.vstack([rows, more])
    target, sds = np.concatenate([target, wanted]), np.concatenate([sds, its_sd])
    zero, zero_u = instrument.own_error(0.0)
    prior = np.array([FLOW_SD, SHAPE_SD_MM, zero_u, 1.0, extrusion.feed_u])
    names = ["", "shape of the bead, before any reading", "zero of the outside jaws", "", ""]
    if extrusion.density_g_cm3 is not None:
        prior[3] = extrusion.density_u_g_cm3 / extrusion.density_g_cm3
        names[3] = "density of the plastic"
    if extrusion.measured_diameter_mm is not None:
        names[4] = "length of filament that really went in"
    mean = np.array([1.0, 0.0, zero, 0.0, 0.0])
    linear = least_squares(rows, target, sds, mean, prior)
    return BeadFit(linear, rows, sds, mean, prior, tuple(names), ways, n, sd, dof)


def _scatter(drawn: Array, read: Array, instrument: Instrument) -> tuple[float, float]:
    """Standard deviation of one width and its degrees of freedom, about a line of its own."""
    widths = np.unique(drawn).size
    if drawn.size - min(widths, 2) < 1:
        return max(READING_SD_MM, instrument.rounding_sd_mm), 1.0
    design = np.ones((drawn.size, 1))
    if widths > 1:
        design = np.column_stack([design[:, 0], drawn - drawn.mean()])
    rest = least_squares(design, read, 1.0).residuals
    dof = drawn.size - design.shape[1] + 1
    pooled = (float(rest @ rest) + READING_SD_MM**2) / dof
    return max(math.sqrt(pooled), instrument.rounding_sd_mm), float(dof)


def _other_ways(
    masses: Sequence[float], extrusion: Extrusion
) -> tuple[Array, Array, Array, tuple[str, ...]]:
    """Rows for mass and for diameter: both tell flow without a caliper on the wall.

    Mass over ρ·F·πd₀²/4 is the flow by volume, times 1 + the density's relative error. Diameter:
    (d/d₀)² is the flow, times 1 + the relative error of the fed length.
    """
    rows, wanted, sds, ways = [], [], [], []
    if masses and extrusion.filament_mm and extrusion.density_g_cm3:
        area = math.pi / 4 * extrusion.filament_diameter_mm**2
        due = extrusion.density_g_cm3 / 1000 * extrusion.filament_mm * area
        ratio = sum(masses) / len(masses) / due
        rows.append([1.0, 0.0, 0.0, 1.0, 0.0])
        wanted.append(ratio)
        sds.append(extrusion.balance_u_g / due)
        ways.append("mass on the balance, relative")
    if extrusion.measured_diameter_mm is not None:
        ratio = (extrusion.measured_diameter_mm / extrusion.filament_diameter_mm) ** 2
        rows.append([1.0, 0.0, 0.0, 0.0, 1.0])
        wanted.append(ratio)
        sds.append(2 * ratio * extrusion.diameter_u_mm / extrusion.measured_diameter_mm)
        ways.append("diameter of the filament, squared and relative")
    return np.array(rows).reshape(-1, 5), np.array(wanted), np.array(sds), tuple(ways)
