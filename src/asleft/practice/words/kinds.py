"""Kinds of practice machine: what the owner would know, its drive and the family it speaks.

A kind is named by its drive, or by what is seen of it on the wire. Not for hidden numbers.
Stands on `dialect` and on the settings' factory values.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from asleft.practice.words import dialect
from asleft.practice.words.dialect import Dialect
from asleft.practice.words.settings import DELTA, FACTORY, Values

DriveName = Literal["cartesian", "crossed-belt", "delta"]


@dataclass(frozen=True)
class Kind:
    """One kind. Lengths in mm, temperatures in °C.

    A round bed has its diameter in `travel_mm[0]`, and places count from its middle.
    `nozzle_limit_c` is the controller's own limit, above the owner's.
    """

    name: str
    drive: DriveName = "cartesian"
    dialect: Dialect = dialect.PLAIN
    factory: Values = field(default_factory=lambda: FACTORY)
    bed_shape: Literal["square", "round"] = "square"
    travel_mm: tuple[float, float, float] = (220.0, 220.0, 220.0)
    nozzle_mm: float = 0.4
    filament_mm: float = 1.75
    max_nozzle_c: float = 260.0
    max_bed_c: float = 100.0
    nozzle_limit_c: float = 275.0
    bed_limit_c: float = 110.0

    @property
    def lowest_mm(self) -> tuple[float, float, float]:
        """The least X, Y and Z that the controller goes to; the most is `travel_mm` above."""
        if self.bed_shape == "square":
            return (0.0, 0.0, 0.0)
        return (-self.travel_mm[0] / 2, -self.travel_mm[1] / 2, 0.0)

    @property
    def middle_mm(self) -> tuple[float, float]:
        """The middle of the bed."""
        x, y, _ = self.lowest_mm
        return x + self.travel_mm[0] / 2, y + self.travel_mm[1] / 2

    def home_mm(self, held: Values) -> dict[str, float]:
        """Where the controller believes to be after homing: a delta hangs at its height."""
        height = held["M665"]["H"] if "M665" in held else 0.0
        return {"X": 0.0, "Y": 0.0, "Z": height}

    def owner_knows(self) -> dict[str, Any]:
        """What the owner of such a machine would tell of it.

        Not the drive's geometry: most owners do not know their pulleys, and where they do, the
        common part of X and Y is taken for shrinkage and left to the slicing profile.
        """
        return {
            "drive": self.drive,
            "bed_shape": self.bed_shape,
            "travel_mm": list(self.travel_mm),
            "tools": self.dialect.tools,
            "nozzle_mm": self.nozzle_mm,
            "filament_mm": self.filament_mm,
            "max_nozzle_c": self.max_nozzle_c,
            "max_bed_c": self.max_bed_c,
        }


_ALL = (
    Kind("cartesian"),
    Kind("crossed-belt", drive="crossed-belt"),
    Kind(
        "delta",
        drive="delta",
        factory=DELTA,
        bed_shape="round",
        travel_mm=(200.0, 200.0, 240.0),
    ),
    Kind("report-bare", dialect=dialect.BARE),
    Kind("report-per-tool", dialect=dialect.PER_TOOL),
    Kind("report-colon-list", dialect=dialect.COLON_LIST),
    Kind("report-m92-only", dialect=dialect.M92_ONLY),
    Kind("report-inches", dialect=dialect.INCHES),
    Kind("report-config-file", dialect=dialect.FILE),
    Kind("no-storage", dialect=dialect.NO_STORAGE),
)
KINDS: Mapping[str, Kind] = {kind.name: kind for kind in _ALL}
