"""What to draw so that it fits: sizes to expect of this machine and making, sizes to draw.

Arithmetic on findings with their uncertainty; nothing is estimated here. Small bores are no
affair of posts: without a fit trial a hole gets a size, but no tolerance grade.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

from asleft.errors import InputError
from asleft.measure.chance import coverage_factor, probability_below
from asleft.measure.grades import grade_for

Kind = Literal["hole", "shaft", "length"]
FACE_SD_MM = 0.02  # one printed face against the next; ours
NO_HOLE_GRADE = "posts do not foretell small bores: run a fit trial before claiming a grade"
NOT_IN_TABLE = "the grades of ISO 286 do not reach this size or deviation"
NO_GROWTH = (
    "growth is unknown: with its prior of 0.25 mm the size may be far off; measure a span piece"
)
NO_SCALE = "scale is unknown: 0.4 % of doubt is taken; measure a span piece"
GROWTH_PRIOR_MM = 0.25
SCALE_PRIOR = 0.004  # rms of machines as they come out of the box; ours


@dataclass(frozen=True)
class Making:
    """What is known of printed sizes: (value, standard uncertainty) each.

    `scale` is the relative error of lengths, `growth_mm` of outside sizes (both faces together),
    None where unknown; `clearance_mm` is by how much a hole must be drawn larger than its shaft,
    as a fit trial found (None: no such trial). `face_sd_mm` is the scatter from part to part.
    """

    scale: tuple[float, float] | None = None
    growth_mm: tuple[float, float] | None = None
    clearance_mm: tuple[float, float] | None = None
    face_sd_mm: float = FACE_SD_MM

    @classmethod
    def from_results(
        cls, results: Sequence[Mapping[str, Any]], *, adjusted: bool = False
    ) -> Making:
        """From results of `asleft.solve/1`; later ones go before earlier ones.

        `adjusted`: steps were changed as proposed since, so that only the doubt of scale is left.
        Scale is the mean of X and Y with the larger u and, unless adjusted, their difference.
        """
        scale: tuple[float, float] | None = None
        growth, clearance = None, None
        for result in results:
            scales = _known(result, "printed_scale", ("X", "Y"))
            if scales:
                mean = sum(v for v, _ in scales) / len(scales)
                apart, u = max(abs(v - mean) for v, _ in scales), max(u for _, u in scales)
                scale = (0.0, u) if adjusted else (mean, math.hypot(u, apart))
            if result.get("trial") == "span":
                growth = next(iter(_known(result, "growth", (None,))), growth)
            clearance = next(iter(_known(result, "clearance", (None,))), clearance)
        return cls(scale, growth, clearance)


@dataclass(frozen=True)
class Allowance:
    """What to draw, and what to expect of it, in mm.

    `expected_mm` with `low95_mm` and `high95_mm` is the printed size of what is drawn so;
    `as_drawn_*` that of SIZE drawn plainly. `clearance_*` is against the nominal counterpart;
    `p_clear` the probability that it is above 0. `grade` is of ISO 286, for the size as drawn.
    """

    kind: Kind
    size_mm: float
    wanted_clearance_mm: float | None
    draw_mm: float
    expected_mm: float
    low95_mm: float
    high95_mm: float
    u_mm: float
    as_drawn_mm: float
    as_drawn_low95_mm: float
    as_drawn_high95_mm: float
    clearance_low95_mm: float | None
    clearance_high95_mm: float | None
    p_clear: float | None
    grade: int | None
    grade_as_drawn: int | None
    reason: str | None
    warnings: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """JSON values of `asleft.allow/1`."""
        return {**asdict(self), "warnings": list(self.warnings)}


def allow(
    kind: Kind, size_mm: float, *, making: Making, clearance_mm: float | None = None
) -> Allowance:
    """What to draw so that a part comes out at a size, or fits with a clearance.

    Args:
        kind: `shaft` for any outside size, `hole` for any inside size, `length` for distances
            between like faces or centres (growth cancels there).
        size_mm: the wanted size; with `clearance_mm` the size of the counterpart: of the shaft
            that goes into the hole, of the hole that takes the shaft.
        making: what is known of the machine and the making.
        clearance_mm: wanted, on the diameter; a negative one is a press fit.

    Raises:
        InputError: an impossible size, or a clearance for a length.
    """
    _check(kind, size_mm, clearance_mm)
    gap = clearance_mm or 0.0
    sign = {"hole": -1.0, "shaft": 1.0, "length": 0.0}[kind]
    wanted = size_mm - sign * gap
    offset, u_offset = _offset(kind, making)
    scale, u_scale = making.scale or (0.0, SCALE_PRIOR)
    draw = (wanted - offset) / (1 + scale)
    u = math.sqrt((size_mm * u_scale) ** 2 + u_offset**2 + making.face_sd_mm**2)
    half = coverage_factor(math.inf) * u
    plain = size_mm * (1 + scale) + offset
    known = kind != "hole" or making.clearance_mm is not None
    spread = (gap - half, gap + half) if clearance_mm is not None else (None, None)
    grades = (grade_for(size_mm, half), grade_for(size_mm, abs(plain - size_mm) + half))
    return Allowance(
        kind=kind,
        size_mm=size_mm,
        wanted_clearance_mm=clearance_mm,
        draw_mm=draw,
        expected_mm=wanted,
        low95_mm=wanted - half,
        high95_mm=wanted + half,
        u_mm=u,
        as_drawn_mm=plain,
        as_drawn_low95_mm=plain - half,
        as_drawn_high95_mm=plain + half,
        clearance_low95_mm=spread[0],
        clearance_high95_mm=spread[1],
        p_clear=None if clearance_mm is None else probability_below(gap / u, math.inf),
        grade=grades[0] if known else None,
        grade_as_drawn=grades[1] if known else None,
        reason=NO_HOLE_GRADE if not known else NOT_IN_TABLE if grades[0] is None else None,
        warnings=tuple(_warnings(kind, making)),
    )


def _check(kind: Kind, size_mm: float, clearance_mm: float | None) -> None:
    if not 0 < size_mm < math.inf:
        raise InputError(
            f"a size of {size_mm:g} mm is impossible", hint="Give mm above 0.", where="SIZE"
        )
    if clearance_mm is None:
        return
    if kind == "length":
        raise InputError(
            "a length has no clearance", hint="Ask for a hole or a shaft.", where="--clearance"
        )
    if not abs(clearance_mm) < size_mm / 2:
        raise InputError(
            f"a clearance of {clearance_mm:g} mm does not go with {size_mm:g} mm",
            hint="It is the difference of the two diameters, in mm.",
            where="--clearance",
        )


def _offset(kind: Kind, making: Making) -> tuple[float, float]:
    """By how much a size comes out beyond scale, with its u: a fit trial before growth."""
    if kind == "length":
        return 0.0, 0.0
    if kind == "hole" and making.clearance_mm is not None:
        return -making.clearance_mm[0], making.clearance_mm[1]
    growth, u = making.growth_mm or (0.0, GROWTH_PRIOR_MM)
    return (growth if kind == "shaft" else -growth), u


def _warnings(kind: Kind, making: Making) -> list[str]:
    said = []
    if kind == "hole" and making.clearance_mm is None:
        said.append(NO_HOLE_GRADE)
    by_growth = kind == "shaft" or (kind == "hole" and making.clearance_mm is None)
    if by_growth and making.growth_mm is None:
        said.append(NO_GROWTH)
    if making.scale is None:
        said.append(NO_SCALE)
    return said


def _known(
    result: Mapping[str, Any], name: str, axes: tuple[str | None, ...]
) -> list[tuple[float, float]]:
    """(value, u) of the quantities of this name whose value and u are known."""
    return [
        (q["value"], q["u"])
        for q in result.get("quantities", ())
        if q["name"] == name
        and q.get("axis") in axes
        and q["value"] is not None
        and q["u"] is not None
    ]
