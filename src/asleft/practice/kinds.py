"""Kinds of practice machine: what the owner would know, and how the controller tells of itself.

One kind so far, `cartesian`; others come in here with their drive and their report family.
Not for hidden numbers. Stands on `settings`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from asleft.practice.settings import Settings


@dataclass(frozen=True)
class Kind:
    """One kind. Lengths in mm, temperatures in °C.

    `nozzle_limit_c` is the controller's own limit, above the owner's. `report` makes the lines of
    the settings report.
    """

    name: str
    drive: str
    travel_mm: tuple[float, float, float]
    nozzle_mm: float
    filament_mm: float
    max_nozzle_c: float
    max_bed_c: float
    nozzle_limit_c: float
    bed_limit_c: float
    report: Callable[[Settings], list[str]]

    def owner_knows(self) -> dict[str, Any]:
        """What the owner of such a machine would tell of it.

        Not the drive's geometry: most owners do not know their pulleys, and where they do, the
        common part of X and Y is taken for shrinkage and left to the slicing profile.
        """
        return {
            "drive": self.drive,
            "bed_shape": "square",
            "travel_mm": list(self.travel_mm),
            "tools": 1,
            "nozzle_mm": self.nozzle_mm,
            "filament_mm": self.filament_mm,
            "max_nozzle_c": self.max_nozzle_c,
            "max_bed_c": self.max_bed_c,
        }


KINDS: Mapping[str, Kind] = {
    "cartesian": Kind(
        name="cartesian",
        drive="cartesian",
        travel_mm=(220.0, 220.0, 220.0),
        nozzle_mm=0.4,
        filament_mm=1.75,
        max_nozzle_c=260.0,
        max_bed_c=100.0,
        nozzle_limit_c=275.0,
        bed_limit_c=110.0,
        report=Settings.report,
    )
}
