"""The span trial: printed scale, growth and shear from a gauge piece, and what to change.

Puts the fit into words: quantities, proposals with verdicts, budget, what was set aside. The
algebra is in `design`, the statistics in `span_fit`, the rule of decision in `verdict`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

from asleft.errors import InputError
from asleft.measure.chance import coverage_factor
from asleft.measure.instrument import Instrument
from asleft.measure.linear import Array
from asleft.measure.readings import SpanReading
from asleft.measure.result import BudgetLine, Quantity, SetAside, Solution
from asleft.measure.span.arms import Arms
from asleft.measure.span.budget import budget_of
from asleft.measure.span.deciding import Deciding
from asleft.measure.span.design import PLANES
from asleft.measure.span.fit import SpanFit, fit_span
from asleft.measure.span.parts import AxisParts, Parts, Wishes, check_motion, part
from asleft.measure.span.proposals import propose
from asleft.measure.tolerance import Tolerance

CANNOT_PART = (
    "span alone cannot part motion from shrinkage: state the shrinkage, give the drive's "
    "geometry, or run a traverse"
)
Drive = Literal["cartesian", "crossed-belt", "delta"]


def solve_span(
    readings: Sequence[SpanReading],
    *,
    instrument: Instrument,
    in_force: Mapping[str, float],
    skew: Mapping[str, float] | None,
    tolerance: Tolerance = Tolerance(),  # noqa: B008 - frozen
    shrinkage: float | None = None,
    shrinkage_u: float | None = None,
    shrinkage_to: Literal["steps", "making"] = "steps",
    drive: Drive = "cartesian",
    geometry: Mapping[str, float] | None = None,
    motion: Mapping[str, tuple[float, float]] | None = None,
    piece_temperature_u_k: float = 2.0,
    arms: Mapping[str, float] | None = None,
) -> Solution:
    """Estimate printed scale per axis, growth and shear, and propose steps and skew.

    Args:
        readings: at least one, mm. Axes that were not read get no quantity and no proposal.
        instrument: what read them.
        in_force: steps per mm by axis when the piece was printed; a missing axis is unknown.
        skew: skew factor by plane active while printing (0 if neutralised); None is unknown.
        shrinkage: h, relative, negative when parts come out smaller; shrinkage_u its standard
            uncertainty (0.1 % when None). None: unknown.
        shrinkage_to: with h unknown, who takes the common part of X and Y: `steps`, or `making`.
        drive: `crossed-belt` gets one value for X and Y; a `delta` Z's steps, and arms for X and Y.
        geometry: steps per mm of the drive's design by axis, where known.
        motion: (value, u) by axis from `motion_as_read` of a traverse with the same caliper; it
            goes before a stated shrinkage and before geometry.
        piece_temperature_u_k: standard uncertainty of the piece's temperature, K.
        arms: `L` and `R` of a delta, mm.

    Returns:
        A solution; `printed_scale`, `motion_scale`, `shrinkage`, `shear` are relative or rad,
        `growth`, `first_layer`, `caliper_zero` in mm.

    Raises:
        InputError: no readings, or values that are impossible.
    """
    wishes = Wishes(in_force, shrinkage, shrinkage_u, shrinkage_to, drive, geometry, motion, arms)
    check_wishes(wishes)
    check_motion(motion or {})
    fit = fit_span(readings, instrument, piece_temperature_u_k)
    parts = part(fit, wishes)
    proposals = propose(Deciding(fit, parts, wishes, skew, tolerance, instrument, len(readings)))
    return Solution(
        trial="span",
        quantities=tuple(_quantities(fit, parts)),
        proposals=proposals,
        budget=(*_budget(fit), *parts.budget),
        set_aside=_set_aside(fit, readings),
        warnings=tuple(_warnings(fit, readings, instrument, wishes)),
    )


def check_wishes(wishes: Wishes) -> None:
    """Refuse steps and shrinkages that cannot be.

    Raises:
        InputError: naming the axis or the option.
    """
    for what, values in (("steps per mm", wishes.in_force), ("geometry", wishes.geometry or {})):
        for axis, value in values.items():
            if not 0 < value < float("inf"):
                raise InputError(
                    f"{what} of {value:g} are impossible", hint="Give a number above 0.", where=axis
                )
    Arms.of(wishes.arms)
    if wishes.shrinkage is not None and not -0.2 < wishes.shrinkage < 0.2:
        raise InputError(
            f"a shrinkage of {wishes.shrinkage:.1%} is impossible",
            hint="Write --shrinkage-percent 0.3 for parts that come out 0.3 % smaller.",
            where="shrinkage",
        )
    if wishes.shrinkage_u is not None and not 0 < wishes.shrinkage_u < 0.2:
        raise InputError(
            "the uncertainty of the shrinkage is impossible",
            hint="Give a number above 0.",
            where="shrinkage-u",
        )


def _quantities(fit: SpanFit, parts: Parts) -> list[Quantity]:
    found = [_quantity(fit, "printed_scale", a.printed.row, "1", axis=a.axis) for a in parts.axes]
    found += [_stated("motion_scale", a.motion, a.axis, _motion_dof(a)) for a in parts.axes]
    if parts.axes:
        found.append(_stated("shrinkage", parts.shrinkage, None, float("inf")))
    found += _growth(fit)
    for plane in PLANES:
        if fit.has(f"shear_{plane}"):
            row = fit.contrast(**{f"shear_{plane}": 1.0})
            found.append(_quantity(fit, "shear", row, "rad", plane=plane))
    if fit.has("first_layer"):
        row = fit.contrast(first_layer=1.0)
        found.append(_quantity(fit, "first_layer", row, "mm", axis="Z"))
    return found + _zeros(fit)


def _motion_dof(a: AxisParts) -> float:
    """Welch-Satterthwaite (JCGM 100, G.4.1) where a sure input joined the printed scale."""
    larger = 1.0 if a.motion is None else max(a.motion[1] / a.printed.u, 1.0)
    return a.printed.dof * larger**4


def _growth(fit: SpanFit) -> list[Quantity]:
    """Growth in common (no axis), and of X and Y where they were read."""
    if not fit.has("growth"):
        return []
    found = [_quantity(fit, "growth", fit.contrast(growth=1.0), "mm")]
    for axis, sign in (("X", 1.0), ("Y", -1.0)):
        if fit.has(f"scale_{axis}"):
            row = fit.contrast(growth=1.0, growth_difference=sign)
            found.append(_quantity(fit, "growth", row, "mm", axis=axis))
    return found


def _zeros(fit: SpanFit) -> list[Quantity]:
    """Zeros of the caliper; `reason` says of which jaws."""
    words = {"outside": "the outside jaws", "inside": "the inside jaws", "same": "the step"}
    return [
        _quantity(
            fit,
            "caliper_zero",
            fit.contrast(**{f"zero_{faces}": 1.0}),
            "mm",
            reason=f"zero of {name}",
        )
        for faces, name in words.items()
        if fit.has(f"zero_{faces}")
    ]


def _quantity(
    fit: SpanFit,
    name: str,
    row: Array,
    unit: str,
    *,
    axis: str | None = None,
    plane: str | None = None,
    reason: str | None = None,
) -> Quantity:
    value, u, dof = fit.estimate(row)
    half = coverage_factor(dof) * u
    return Quantity(name, value, u, value - half, value + half, unit, axis, plane, reason)


def _stated(name: str, known: tuple[float, float] | None, axis: str | None, dof: float) -> Quantity:
    if known is None:
        return Quantity(name, None, None, None, None, "1", axis, None, CANNOT_PART)
    value, u = known
    half = coverage_factor(dof) * u
    return Quantity(name, value, u, value - half, value + half, "1", axis)


def _budget(fit: SpanFit) -> tuple[BudgetLine, ...]:
    lines: list[BudgetLine] = []
    for axis in "XYZ":
        if fit.has(f"scale_{axis}"):
            row = fit.contrast(**{f"scale_{axis}": 1.0})
            lines += budget_of(fit, row, f"printed_scale {axis}")
    for plane in PLANES:
        if fit.has(f"shear_{plane}"):
            row = fit.contrast(**{f"shear_{plane}": 1.0})
            lines += budget_of(fit, row, f"shear {plane}")
    if fit.has("growth"):
        lines += budget_of(fit, fit.contrast(growth=1.0), "growth")
    return tuple(lines)


def _set_aside(fit: SpanFit, readings: Sequence[SpanReading]) -> tuple[SetAside, ...]:
    aside = []
    for i, kept in enumerate(fit.misreads.kept):
        if not kept:
            off = float(fit.misreads.off_mm[i])
            why = f"{off:+.2f} mm off what all the others say; measure this place again"
            for group in fit.misreads.together:
                if i in group:
                    rows = ", ".join(str(k + 1) for k in group)
                    why = f"one of rows {rows} is wrong, nobody can say which; measure them again"
            aside.append(SetAside(i + 1, readings[i].reading_mm, why, readings[i].place))
    return tuple(aside)


def _warnings(
    fit: SpanFit, readings: Sequence[SpanReading], instrument: Instrument, wishes: Wishes
) -> list[str]:
    said = []
    longest = max(r.nominal_mm for r in readings)
    if longest > instrument.reach_mm:
        said.append(f"{longest:g} mm is beyond the caliper's reach of {instrument.reach_mm:g} mm")
    for group in fit.misreads.unlocated:
        rows = ", ".join(str(i + 1) for i in group)
        said.append(f"one of rows {rows} is wrong, and the readings cannot tell which")
    if int((~fit.misreads.kept).sum()) > len(readings) * 0.2:
        said.append("more than a fifth of the readings were set aside: measure the piece again")
    if wishes.shrinkage is not None and wishes.shrinkage_u is None:
        said.append("the shrinkage came without its uncertainty; 0.1 % is taken")
    if not any(r.faces == "inside" for r in readings) and fit.has("growth"):
        said.append("without inside readings growth can hardly be told from scale")
    return said
