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
from asleft.measure.face import FACE_SD_MM
from asleft.measure.grades import grade_for

Kind = Literal["hole", "shaft", "length"]
NO_HOLE_GRADE = "posts do not foretell small bores: run a fit trial before claiming a grade"
NOT_IN_TABLE = "the grades of ISO 286 do not reach this size or deviation"
NO_GROWTH = (
    "growth is unknown: with its prior of 0.25 mm the size may be far off; measure a span piece"
)
NO_GAUGE = (
    "how well the part of the fit trial was measured is unknown: sizes hold for that part, and for"
    " others as far as its size is right"
)
SAME_PART_MM = 0.005
NO_SCALE = "scale is unknown: 0.4 % of doubt is taken; measure a span piece"
GROWTH_PRIOR_MM = 0.25
SCALE_PRIOR = 0.004  # rms of machines as they come out of the box; ours


@dataclass(frozen=True)
class Tried:
    """What a fit trial found, mm: by how much more room must be drawn than the part has size.

    `gauge_mm` is the part with which it was tried, as measured, with `gauge_u_mm`; None where
    the result does not say. `scatter_mm` is that of one printed part against the next.
    """

    clearance_mm: float
    u_mm: float
    gauge_mm: float | None = None
    gauge_u_mm: float | None = None
    scatter_mm: float | None = None


@dataclass(frozen=True)
class Making:
    """What is known of printed sizes: (value, standard uncertainty) each.

    `scale` is the relative error of lengths, `growth_mm` of outside sizes (both faces together),
    None where unknown. `face_sd_mm` is the scatter from part to part. `holes` and `shafts` are
    what a fit trial found of bores and of pins (None: no such trial).
    """

    scale: tuple[float, float] | None = None
    growth_mm: tuple[float, float] | None = None
    face_sd_mm: float = FACE_SD_MM
    holes: Tried | None = None
    shafts: Tried | None = None

    @classmethod
    def from_results(
        cls, results: Sequence[Mapping[str, Any]], *, adjusted: bool = False
    ) -> Making:
        """From results of `asleft.solve/1`; later ones go before earlier ones.

        `adjusted`: steps were changed as proposed since, so that only the doubt of scale is left.
        Scale is the mean of X and Y with the larger u and, unless adjusted, their difference.
        """
        scale: tuple[float, float] | None = None
        growth: tuple[float, float] | None = None
        tried: dict[str, Tried] = {}
        for result in results:
            scales = _known(result, "printed_scale", ("X", "Y"))
            if scales:
                mean = sum(v for v, _ in scales) / len(scales)
                apart, u = max(abs(v - mean) for v, _ in scales), max(u for _, u in scales)
                scale = (0.0, u) if adjusted else (mean, math.hypot(u, apart))
            if result.get("trial") == "span":
                growth = next(iter(_known(result, "growth", (None,))), growth)
            tried |= _tried(result)
        return cls(scale, growth, holes=tried.get("hole"), shafts=tried.get("shaft"))


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
    tried = {"hole": making.holes, "shaft": making.shafts}.get(kind)
    scale, _ = making.scale or (0.0, SCALE_PRIOR)
    offset, u = _by_fit(sign, size_mm, tried, making) if tried else _by_span(kind, size_mm, making)
    draw = (wanted - offset) / (1 + scale)
    half = coverage_factor(math.inf) * u
    plain = size_mm * (1 + scale) + offset
    known = kind != "hole" or tried is not None
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
        warnings=tuple(_warnings(kind, size_mm, making, tried)),
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


def _by_span(kind: Kind, size_mm: float, making: Making) -> tuple[float, float]:
    """By how much a size comes out beyond scale, by growth; and u of what comes out."""
    _, u_scale = making.scale or (0.0, SCALE_PRIOR)
    growth, u = (0.0, 0.0) if kind == "length" else making.growth_mm or (0.0, GROWTH_PRIOR_MM)
    whole = math.hypot(size_mm * u_scale, u, making.face_sd_mm)
    return {"shaft": growth, "hole": -growth, "length": 0.0}[kind], whole


def _by_fit(sign: float, size_mm: float, tried: Tried, making: Making) -> tuple[float, float]:
    """The same by a fit trial, which knows sizes near its gauge whatever the scale.

    A size like the gauge's is taken for that very part: how well it was measured cancels.
    """
    scale, u_scale = making.scale or (0.0, SCALE_PRIOR)
    scatter = making.face_sd_mm if tried.scatter_mm is None else tried.scatter_mm
    gauge = size_mm if tried.gauge_mm is None else tried.gauge_mm
    # Drawn so much off the gauge it came out like the gauge.
    offset = sign * tried.clearance_mm - scale * (gauge - sign * tried.clearance_mm)
    u_gauge = 0.0 if _is_gauge(size_mm, tried) else tried.gauge_u_mm or 0.0
    return offset, math.hypot(tried.u_mm, scatter, u_gauge, (size_mm - gauge) * u_scale)


def _is_gauge(size_mm: float, tried: Tried | None) -> bool:
    return bool(tried and tried.gauge_mm and abs(size_mm - tried.gauge_mm) < SAME_PART_MM)


def _warnings(kind: Kind, size_mm: float, making: Making, tried: Tried | None) -> list[str]:
    said = []
    if kind == "hole" and tried is None:
        said.append(NO_HOLE_GRADE)
    if kind != "length" and tried is None and making.growth_mm is None:
        said.append(NO_GROWTH)
    if tried and tried.gauge_u_mm is None:
        said.append(NO_GAUGE)
    if making.scale is None and not _is_gauge(size_mm, tried):
        said.append(NO_SCALE)
    return said


def _tried(result: Mapping[str, Any]) -> dict[str, Tried]:
    """What a result of the fit trial says of holes and of shafts; nothing of what contradicts."""
    part_of = {p["axis"] for p in result.get("proposals", ()) if p["setting"] == "clearance"}
    doubted = {p["axis"] for p in result.get("proposals", ()) if p["verdict"] == "inspect"}
    quantities = result.get("quantities", ())
    gauge: Mapping[str, Any] = next((q for q in quantities if q["name"] == "gauge"), {})
    found = {}
    for each in quantities:
        if each["name"] != "clearance" or each["value"] is None or each["u"] is None:
            continue
        # Results of before said the part beside their proposal only.
        part = each.get("axis") or next(iter(part_of), "hole")
        scatter = next(
            (q["value"] for q in quantities if (q["name"], q["axis"]) == ("part_scatter", part)),
            None,
        )
        if part not in doubted:
            found[part] = Tried(
                each["value"], each["u"], gauge.get("value"), gauge.get("u"), scatter
            )
    return found


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
