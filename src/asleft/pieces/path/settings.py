"""What a tool path is told besides the piece: temperatures, speeds, bed, filament, and bounds.

Not the bead: line width and layer belong to the piece, since its sizes are drawn for them. The
bounds come from whoever knows the machine, as numbers. Stands on `errors` and numpy.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from asleft.errors import InputError

Origin = Literal["corner", "centre"]

COLDEST_NOZZLE_C = 150.0  # below this no plastic for the purpose melts (common practice, no source)
RATE_AT_04_MM3_S = 8.0  # what an ordinary hot end melts through 0.4 mm; common practice, no source


@dataclass(frozen=True)
class PathSettings:
    """How a piece is printed.

    Temperatures in °C, as the person gave them; speeds in mm/min, accelerations in mm/s².
    `travel_mm` is X, Y, Z of the bed, or diameter twice and Z where `bed_shape` is `round`;
    `origin` says where X 0 Y 0 lies, None: in the corner of a square bed, in the middle of a
    round one. `rate_mm3_s` bounds the plastic a second, None: by the nozzle. `feed_mm_min`
    bounds the filament's own speed while it melts. `bed_c` 0 leaves the bed cold.

    Raises:
        InputError: beyond a bound; the hint says what would do.
    """

    nozzle_c: float
    bed_c: float
    nozzle_mm: float = 0.4
    filament_mm: float = 1.75
    bed_shape: str = "square"
    travel_mm: tuple[float, float, float] = (220.0, 220.0, 220.0)
    origin: Origin | None = None
    relative_feed: bool = False
    measured_mm_min: float = 1500.0  # the outer wall of measured faces
    wall_mm_min: float = 3600.0
    fill_mm_min: float = 3600.0
    first_layer_mm_min: float = 1500.0
    travel_mm_min: float = 9000.0
    slowest_mm_min: float = 480.0  # a small layer is drawn out no further than this
    least_layer_s: float = 8.0  # so that a layer is firm before the next; common practice
    acceleration_mm_s2: float = 1000.0
    corner_mm_s: float = 8.0  # change of velocity taken without slowing; ordinary, no source
    rate_mm3_s: float | None = None
    feed_mm_min: float = 300.0
    retract_mm: float = 1.0
    retract_mm_min: float = 1500.0
    fan_percent: float = 100.0
    max_nozzle_c: float = 260.0
    max_bed_c: float = 110.0

    def __post_init__(self) -> None:
        """Refuse what the machine may not be told."""
        self._demand(
            COLDEST_NOZZLE_C <= self.nozzle_c <= self.max_nozzle_c,
            f"a nozzle at {self.nozzle_c:g} °C",
            f"between {COLDEST_NOZZLE_C:g} and {self.max_nozzle_c:g} °C",
            "nozzle temperature",
        )
        self._demand(
            0 <= self.bed_c <= self.max_bed_c,
            f"a bed at {self.bed_c:g} °C",
            f"between 0 (left cold) and {self.max_bed_c:g} °C",
            "bed temperature",
        )
        self._demand(
            1 <= self.filament_mm <= 4,
            f"filament {self.filament_mm:g} mm thick",
            "between 1 and 4 mm",
            "filament",
        )
        self._demand(
            0 <= self.retract_mm <= 10,
            f"retracting {self.retract_mm:g} mm",
            "between 0 and 10 mm",
            "retract",
        )
        self._demand(
            self.origin in (None, "corner", "centre"), f"origin {self.origin}", "corner or centre"
        )
        for name in ("nozzle_mm", "travel_mm_min", "acceleration_mm_s2", "feed_mm_min"):
            value = getattr(self, name)
            self._demand(0 < value < math.inf, f"{name} of {value:g}", "above 0", name)

    @staticmethod
    def _demand(holds: bool, what: str, would_do: str, where: str = "path") -> None:
        if not holds:
            raise InputError(f"{what} is out of bounds", hint=f"Give one {would_do}.", where=where)

    @property
    def most_mm3_s(self) -> float:
        """The most plastic a second: by the nozzle, and by the filament's own speed."""
        nozzle = RATE_AT_04_MM3_S * self.nozzle_mm / 0.4
        most = nozzle if self.rate_mm3_s is None else self.rate_mm3_s
        return min(most, self.feed_mm_min / 60 * self.filament_mm2)

    @property
    def filament_mm2(self) -> float:
        """Section of the filament."""
        return math.pi / 4 * self.filament_mm**2

    @property
    def middle_mm(self) -> tuple[float, float]:
        """Where the middle of the bed lies in the machine's coordinates."""
        origin = self.origin or ("centre" if self.bed_shape == "round" else "corner")
        if origin == "centre":
            return 0.0, 0.0
        return self.travel_mm[0] / 2, self.travel_mm[1] / 2

    def on_bed(self, places_mm: npt.NDArray[np.float64]) -> bool:
        """Whether all places (n, 2), in the machine's coordinates, lie within the travel."""
        off = np.abs(places_mm - np.array(self.middle_mm))
        if self.bed_shape == "round":
            return bool(np.hypot(*off.T).max() <= self.travel_mm[0] / 2 + 1e-6)
        return bool((off.max(axis=0) <= np.array(self.travel_mm[:2]) / 2 + 1e-6).all())
