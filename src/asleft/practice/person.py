"""The simulated person: caliper, pen and now and then a slip of the eye.

The caliper has zeros and a scale of its own within its stated error; the hand adds noise and tilt.
Not for what is measured: true distances come from outside. Stands on a numpy Generator.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

MARK_MM = 0.12
"""Placing and reading a pen mark, standard deviation each (ours)."""
NOISE_MM = 0.02
"""One reading with the caliper, standard deviation (ours)."""
TRAVEL_NOISE_MM = 0.008
"""One reading of a caliper that is set up and not held by hand, standard deviation (ours)."""
MISREAD_SHARE = 0.01
BALANCE_G = 0.01
"""One reading of a small balance, standard deviation (ours)."""
PART_MM = 0.008
"""A shaft or bearing against the size that its owner gives it, standard deviation (ours)."""
TURNS_MM, LOOSE_MM = 0.01, 0.16
"""Play on the diameter from which it turns, and from which it feels loose (ours)."""
FEEL_MM = 0.005
"""How sharply a hand tells these, standard deviation (ours)."""


@dataclass(frozen=True)
class Caliper:
    """One caliper: resolution, maximum permissible error and reach in mm, and its hidden errors."""

    resolution_mm: float
    mpe_mm: float
    reach_mm: float
    zero_mm: dict[str, float]
    scale: float

    def owner_knows(self) -> dict[str, float]:
        """What stands on its box."""
        return {
            "resolution_mm": self.resolution_mm,
            "mpe_mm": self.mpe_mm,
            "reach_mm": self.reach_mm,
        }


def draw_caliper(
    rng: np.random.Generator,
    resolution_mm: float = 0.01,
    mpe_mm: float = 0.03,
    reach_mm: float = 150.0,
) -> Caliper:
    """A caliper that keeps what its box promises: no error above its MPE from 0 to its reach."""
    while True:
        scale = float(rng.uniform(-mpe_mm, mpe_mm)) / reach_mm
        zeros = {
            jaws: float(rng.uniform(-mpe_mm, mpe_mm)) for jaws in ("outside", "inside", "depth")
        }
        if all(abs(zero + scale * reach_mm) <= mpe_mm for zero in zeros.values()):
            return Caliper(resolution_mm, mpe_mm, reach_mm, zeros, scale)


@dataclass
class Person:
    """Whoever holds the caliper. `misreads` keeps what went wrong, for the truth."""

    caliper: Caliper
    rng: np.random.Generator
    misread_share: float = MISREAD_SHARE
    misreads: list[dict[str, Any]] = field(default_factory=list)
    parts_mm: dict[tuple[str, float], float] = field(default_factory=dict)

    def place_mark(self, wanted_mm: float) -> float:
        """Mark the filament with the depth rod; returns where the mark truly is."""
        true = (wanted_mm - self.caliper.zero_mm["depth"]) / (1 + self.caliper.scale)
        return true + float(self.rng.normal(0, MARK_MM))

    def read_mark(self, true_mm: float) -> str:
        """Read with the depth rod how far the mark is from the entry."""
        seen = self._seen(true_mm + float(self.rng.normal(0, MARK_MM)), "depth")
        return self._text(seen + self._misread("remaining", None))

    def read_distance(
        self, true_mm: float, jaws: str, *, tilt_mm: float, swap_mm: float, label: str
    ) -> str:
        """Read a distance between two faces.

        Args:
            true_mm: what lies between the jaws under their force.
            jaws: `outside`, `inside` or `depth`.
            tilt_mm: rms of a jaw that does not lie flat: outside reads more, inside less.
            swap_mm: what the wrong pair of jaws would add; 0 where there is no such pair.
            label: the place, for the list of misreads.
        """
        tilt = abs(float(self.rng.normal(0, tilt_mm))) * {"outside": 1, "inside": -1}.get(jaws, 0)
        seen = self._seen(true_mm + tilt, jaws)
        return self._text(seen + self._misread(label, swap_mm))

    def read_travel(self, true_mm: float) -> str:
        """Read a travel from where the caliper was zeroed, which takes its own zero away."""
        seen = true_mm * (1 + self.caliper.scale) + float(self.rng.normal(0, TRAVEL_NOISE_MM))
        step = self.caliper.resolution_mm
        decimals = max(0, -int(np.floor(np.log10(step) + 1e-9)))
        return f"{round(seen / step) * step:.{decimals}f}"

    def read_mass(self, true_g: float) -> str:
        """Read a small balance, g."""
        return f"{max(0.0, true_g + float(self.rng.normal(0, BALANCE_G))):.2f}"

    def own_part_mm(self, gauge_mm: float, kind: str) -> float:
        """True size of a shaft (for a bore) or bearing (for a pin) that its owner calls so big."""
        part = (kind, round(gauge_mm, 4))
        if part not in self.parts_mm:
            self.parts_mm[part] = gauge_mm + float(self.rng.normal(0, PART_MM))
        return self.parts_mm[part]

    def feel(self, play_mm: float) -> str:
        """What a hand says of a shaft with so much play: `refuses`, `turns` or `loose`."""
        felt = play_mm + float(self.rng.normal(0, FEEL_MM))
        return "refuses" if felt < TURNS_MM else "turns" if felt < LOOSE_MM else "loose"

    def _seen(self, true_mm: float, jaws: str) -> float:
        noise = float(self.rng.normal(0, NOISE_MM))
        return true_mm * (1 + self.caliper.scale) + self.caliper.zero_mm[jaws] + noise

    def _misread(self, what: str, swap_mm: float | None) -> float:
        if self.rng.random() >= self.misread_share:
            return 0.0
        sign = 1.0 if self.rng.random() < 0.5 else -1.0
        slips = {"wrong tenth": 0.1 * sign, "1 mm": sign}
        if swap_mm:
            slips["swapped jaws"] = swap_mm
        kind = str(self.rng.choice(list(slips)))
        self.misreads.append({"what": what, "kind": kind, "added_mm": slips[kind]})
        return slips[kind]

    def _text(self, value_mm: float) -> str:
        step = self.caliper.resolution_mm
        decimals = max(0, -int(np.floor(np.log10(step) + 1e-9)))
        return f"{round(max(0.0, value_mm) / step) * step:.{decimals}f}"
