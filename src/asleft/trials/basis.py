"""What a trial's estimate rests on besides its readings: instrument, settings, making.

Frozen when the trial starts and stored with it, so that the same readings give the same
estimate a year later. Not for readings: they come one by one.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

from asleft.measure import Instrument, Tolerance


@dataclass(frozen=True)
class Basis:
    """The instrument, the settings in force when the piece was made, and the making.

    `in_force` is steps per mm by axis or tool; `skew` the active factors by plane, or None
    where the machine has none; `arms` arm length L and radius R of a delta, mm. `shrinkage`
    is h (negative when parts come out smaller), with its standard uncertainty; None where it is
    not known. `feed_u` is the relative standard
    uncertainty of the feed as found before; `warnings` say on what else the estimate leans.
    """

    instrument: Instrument
    in_force: Mapping[str, float]
    skew: Mapping[str, float] | None = None
    drive: str = "cartesian"
    geometry: Mapping[str, float] | None = None
    shrinkage: float | None = None
    shrinkage_u: float | None = None
    shrinkage_to: Literal["steps", "making"] = "steps"
    tolerance: Tolerance = field(default_factory=Tolerance)
    arms: Mapping[str, float] | None = None
    feed_u: float | None = None
    warnings: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """JSON values for the store."""
        values = asdict(self)
        values["instrument"] = self.instrument.to_dict()
        values["in_force"] = dict(self.in_force)
        return values

    @classmethod
    def from_dict(cls, values: Mapping[str, Any]) -> Basis:
        """The inverse of `to_dict`."""
        kept = dict(values)
        kept["instrument"] = Instrument.from_dict(kept["instrument"])
        kept["tolerance"] = Tolerance(**kept["tolerance"])
        kept["warnings"] = tuple(kept.get("warnings", ()))
        return cls(**kept)
