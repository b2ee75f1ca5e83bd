"""What a reading was taken with: resolution, permissible error, reach, last check.

Turns the data sheet of a caliper into type-B inputs (JCGM 100, 4.3). Not a device: nothing
is read here. Stands on `errors` alone; the solvers stand on it.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from typing import Any

from asleft.errors import InputError


@dataclass(frozen=True)
class KnownLengthCheck:
    """A check of the instrument on a known length, lengths in mm.

    `error_mm` is mean reading less known length, `error_u_mm` the standard uncertainty of that
    mean from the readings alone, `u_mm` the standard uncertainty of the known length.
    """

    nominal_mm: float
    u_mm: float
    error_mm: float
    error_u_mm: float

    @classmethod
    def from_readings(
        cls, readings_mm: Sequence[float], nominal_mm: float, u_mm: float, resolution_mm: float
    ) -> KnownLengthCheck:
        """A check from three or more readings of a known length, type A (JCGM 100, 4.2.3).

        The mean is never better than the rounding of one reading: repeats at one place share it.

        Raises:
            InputError: fewer than three readings, or one that is no length.
        """
        for number, reading in enumerate(readings_mm, start=1):
            if not 0 < reading < math.inf:
                raise InputError(
                    f"{reading:g} mm is no length",
                    hint="Give it in mm, above 0.",
                    where=f"reading {number}",
                )
        if len(readings_mm) < 3:
            read = "1 reading does" if len(readings_mm) == 1 else f"{len(readings_mm)} readings do"
            raise InputError(
                f"{read} not show how the instrument scatters",
                hint="Read the known length at least 3 times.",
                where="READING",
            )
        scatter_mm = statistics.stdev(readings_mm) / math.sqrt(len(readings_mm))
        return cls(
            nominal_mm=nominal_mm,
            u_mm=u_mm,
            error_mm=statistics.fmean(readings_mm) - nominal_mm,
            error_u_mm=max(scatter_mm, resolution_mm / math.sqrt(12)),
        )


@dataclass(frozen=True)
class Instrument:
    """One instrument, lengths in mm.

    `mpe_mm` is the maximum permissible error of the data sheet (± value over `reach_mm`).
    `zero_u_mm` is the standard uncertainty of the outside jaws' zero where it was looked at
    with the jaws closed; None means that nobody looked, and MPE/√3 is taken.
    """

    name: str = "caliper"
    resolution_mm: float = 0.01
    mpe_mm: float = 0.03
    reach_mm: float = 150.0
    check: KnownLengthCheck | None = None
    zero_u_mm: float | None = None

    def __post_init__(self) -> None:
        """Refuse what no instrument can be."""
        sizes = {
            "resolution": self.resolution_mm,
            "mpe": self.mpe_mm,
            "reach": self.reach_mm,
            "zero": self.zero_u_mm,
        }
        if self.check is not None:
            sizes["known length"] = self.check.nominal_mm
            sizes["u of the known length"] = self.check.u_mm
            sizes["u of the error found"] = self.check.error_u_mm
        for what, value in sizes.items():
            if value is not None and not 0 < value < math.inf:
                raise InputError(
                    f"{what} of {value:g} mm is impossible", hint="Give a size above 0.", where=what
                )

    @property
    def zero_sd_mm(self) -> float:
        """Standard uncertainty of a zero that nobody checked: rectangular, MPE/√3."""
        return self.mpe_mm / math.sqrt(3)

    @property
    def outside_zero_sd_mm(self) -> float:
        """Standard uncertainty of the zero of the outside jaws."""
        return self.zero_sd_mm if self.zero_u_mm is None else self.zero_u_mm

    @property
    def scale_sd(self) -> float:
        """Standard uncertainty of the relative scale error: MPE/(√3·reach)."""
        return self.mpe_mm / (math.sqrt(3) * self.reach_mm)

    @property
    def rounding_sd_mm(self) -> float:
        """Standard uncertainty of rounding to the last digit: r/√12 (JCGM 100, F.2.2.1)."""
        return self.resolution_mm / math.sqrt(12)

    def own_scale(self) -> tuple[float, float]:
        """The relative scale error (value, standard uncertainty), from the last check if any.

        The check reads zero and scale together (error = zero + scale · length), so what it tells
        of scale is bounded by how well the zero is known.
        """
        sd = self.scale_sd
        if self.check is None:
            return 0.0, sd
        length = self.check.nominal_mm
        noise = math.hypot(self.check.u_mm, self.check.error_u_mm, self.outside_zero_sd_mm)
        gain = sd**2 * length / (noise**2 + (sd * length) ** 2)
        return gain * self.check.error_mm, sd * math.sqrt(1 - gain * length)

    def own_error(self, length_mm: float) -> tuple[float, float]:
        """The error of the outside jaws at a length, mm (value, standard uncertainty).

        From the last check if any, which ties zero and scale to each other: they are not two
        independent inputs then (JCGM 100, 5.2), and at the length of the check both cancel.
        """
        zero, scale = self.outside_zero_sd_mm, self.scale_sd
        sd = math.hypot(zero, scale * length_mm)
        if self.check is None:
            return 0.0, sd
        known = self.check.nominal_mm
        read = math.hypot(self.check.u_mm, self.check.error_u_mm, zero, scale * known)
        shared = zero**2 + scale**2 * length_mm * known
        gain = shared / read**2
        return gain * self.check.error_mm, math.sqrt(max(sd**2 - gain * shared, 0.0))

    def to_dict(self) -> dict[str, Any]:
        """JSON values; the inverse is `from_dict`."""
        return asdict(self)

    @classmethod
    def from_dict(cls, values: Mapping[str, Any]) -> Instrument:
        """The inverse of `to_dict`; keys of newer versions are left out."""
        known = {f.name for f in fields(cls)}
        kept = {k: v for k, v in values.items() if k in known}
        if isinstance(kept.get("check"), Mapping):
            kept["check"] = KnownLengthCheck(**kept["check"])
        return cls(**kept)
