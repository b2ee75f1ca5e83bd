"""What the owner says about a machine once: drive, bed, travel, tools, limits, address.

Plain data that the store keeps and every limit is checked against. Nothing here is read
from the machine: what it holds is a settings report, never a description.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields
from typing import Any, Literal

from asleft.errors import InputError

Drive = Literal["cartesian", "crossed-belt", "delta"]


@dataclass(frozen=True)
class MachineDescription:
    """One machine as its owner describes it.

    Lengths in mm, temperatures in °C, rates in mm/min. `travel_mm` is (X, Y, Z) from 0;
    `bed_shape` `round` has its diameter in `travel_mm[0]`. `geometry_steps_per_mm` is what the
    drive's pulleys and screws give by design, per axis, where known; `steps_per_turn` is full
    steps · microsteps · gear of one turn of pulley or screw. An unknown is None.
    """

    name: str
    drive: Drive = "cartesian"
    bed_shape: Literal["square", "round"] = "square"
    travel_mm: tuple[float, float, float] = (220.0, 220.0, 220.0)
    tools: int = 1
    nozzle_mm: float = 0.4
    filament_mm: float = 1.75
    max_nozzle_c: float = 260.0
    max_bed_c: float = 110.0
    max_feed_rate_mm_min: float = 300.0
    address: str | None = None
    rate_baud: int | None = None
    geometry_steps_per_mm: dict[str, float] | None = None
    power_on_habit: str | None = None
    steps_per_turn: dict[str, float] | None = None

    def __post_init__(self) -> None:
        """Refuse what no machine can be."""
        if not self.name.strip():
            raise InputError("a machine needs a name", hint="Give it one with NAME.")
        sizes = {
            "travel X": self.travel_mm[0],
            "travel Y": self.travel_mm[1],
            "travel Z": self.travel_mm[2],
            "nozzle": self.nozzle_mm,
            "filament": self.filament_mm,
            "nozzle limit": self.max_nozzle_c,
            "bed limit": self.max_bed_c,
            "feed rate limit": self.max_feed_rate_mm_min,
            "tools": float(self.tools),
        }
        for what, value in sizes.items():
            if not 0 < value < float("inf"):
                raise InputError(
                    f"{what} of {value:g} is impossible", hint="Give a size above 0.", where=what
                )

    def to_dict(self) -> dict[str, Any]:
        """JSON values, for the store and for `asleft.machine/1`."""
        return asdict(self)

    @classmethod
    def from_dict(cls, values: dict[str, Any]) -> MachineDescription:
        """The inverse of `to_dict`; keys of newer versions are left out."""
        known = {f.name for f in fields(cls)}
        kept = {k: v for k, v in values.items() if k in known}
        if "travel_mm" in kept:
            kept["travel_mm"] = tuple(kept["travel_mm"])
        return cls(**kept)
