"""Before anything is made: what uncertainty to expect, and how many readings are enough.

The same design matrices as the solvers, with the scatter that is taken before any reading. No
piece is drawn here and nothing is priced: minutes and grams come from whoever knows the piece.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from asleft.errors import InputError
from asleft.measure.face import FACE_SD_MM
from asleft.measure.instrument import Instrument
from asleft.measure.linear import Array, least_squares
from asleft.measure.span.design import MAP, PARAMETERS, Measurable, Places, model, prior_sds
from asleft.measure.span.scatter import READING_SD_MM
from asleft.measure.tolerance import Tolerance
from asleft.measure.traverse.line import ALONG_SD_RAD, POSITION_SD_MM

FEED_SCATTER_MM = 0.3  # of one feed of 100 mm; ours
POSITION_READING_SD_MM = 0.01  # one reading of a carriage at rest; ours
READING_MIN = 0.25  # one reading of a practised hand; a guess, ours
MARKING_MIN = 1.0  # a mark, and what remains read; a guess, ours
HEATING_MIN = 4.0  # common practice, no source
FEED_MM_MIN = 50.0  # slow enough for any hot end; common practice, no source
DENSITY_G_CM3 = 1.24  # PLA; makers' data sheets agree to 2 %; from memory
MOST_REPEATS = 16
ENOUGH = 0.25  # of the tolerance: with u ≤ T/4 a sound verdict is nearly sure


@dataclass(frozen=True)
class Expected:
    """Expected standard uncertainty of one quantity; `enough` whether it is within T/4."""

    name: str
    axis: str | None
    u: float
    unit: str
    enough: bool


@dataclass(frozen=True)
class Plan:
    """What to expect of so many repeats.

    `repeats_enough` is the least number that brings what decides (scale of X and Y, shear; else
    all there is) to a quarter of its tolerance; None where no number up to 16 does. `reason`
    names what stays above and what would help.
    """

    repeats: int
    expected: tuple[Expected, ...]
    repeats_enough: int | None
    reason: str | None

    def to_dict(self) -> dict[str, Any]:
        """JSON values, part of `asleft.plan/1`."""
        return asdict(self)


def plan_span(
    places: Sequence[Measurable],
    *,
    instrument: Instrument,
    repeats: int = 1,
    piece_temperature_u_k: float = 2.0,
    tolerance: Tolerance = Tolerance(),  # noqa: B008 - frozen
    reading_sd_mm: float = READING_SD_MM,
    face_sd_mm: float = FACE_SD_MM,
) -> Plan:
    """Expected uncertainty of printed scale, shear and growth.

    Args:
        places: where the jaws will go. repeats: readings at each.
        reading_sd_mm, face_sd_mm: scatter of one reading, and from face to face.

    Raises:
        InputError: no places, fewer than one repeat, or a place beyond the caliper's reach.
    """
    _check_repeats(repeats)
    if not places:
        raise InputError("there is nothing to read", hint="Plan at least one place.")
    longest = max(p.nominal_mm for p in places)
    if longest > instrument.reach_mm:
        raise InputError(
            f"{longest:g} mm is beyond the caliper's reach of {instrument.reach_mm:g} mm",
            hint="Plan a shorter piece: (reach − post − 2)/√2 for its diagonals.",
            where="reach",
        )
    arrays = Places.of(places)
    _, columns = model(arrays, np.zeros(len(PARAMETERS)))
    prior = prior_sds(instrument, piece_temperature_u_k)
    active = np.any(np.abs(columns) > 1e-9, axis=0)
    rows = columns[:, active]
    check = _check_row(instrument)[active]

    def expected(n: int) -> tuple[Expected, ...]:
        floor = instrument.rounding_sd_mm
        sd = max(math.sqrt(reading_sd_mm**2 / n + face_sd_mm**2), floor)
        design, sds = rows, np.full(len(rows), sd)
        if instrument.check is not None:
            noise = math.hypot(instrument.check.u_mm, instrument.check.error_u_mm)
            design, sds = np.vstack([rows, check]), np.append(sds, noise)
        fit = least_squares(design, np.zeros(sds.size), sds, None, prior[active])
        us = dict(zip(np.flatnonzero(active), np.sqrt(np.diag(fit.covariance)), strict=True))
        return tuple(
            _span_expected(PARAMETERS[k], float(u), tolerance)
            for k, u in us.items()
            if PARAMETERS[k] in (*MAP, "growth")
        )

    return _plan(
        expected, repeats, "a longer piece, more places or a check of the caliper on a known length"
    )


def _span_expected(parameter: str, u: float, tolerance: Tolerance) -> Expected:
    name, _, axis = parameter.partition("_")
    if name == "scale":
        return Expected("printed_scale", axis, u, "1", u <= tolerance.scale * ENOUGH)
    if name == "shear":
        return Expected("shear", axis, u, "rad", u <= tolerance.shear * ENOUGH)
    return Expected("growth", None, u, "mm", u <= tolerance.growth * ENOUGH)


def _check_row(instrument: Instrument) -> Array:
    """The check on a known length as one more reading: zero + scale · length."""
    row = np.zeros(len(PARAMETERS))
    if instrument.check is not None:
        row[PARAMETERS.index("zero_outside")] = 1.0
        row[PARAMETERS.index("caliper_scale")] = instrument.check.nominal_mm
    return row


def plan_feed(
    *,
    instrument: Instrument,
    length_mm: float = 100.0,
    repeats: int = 4,
    scatter_mm: float = FEED_SCATTER_MM,
    marked: bool = True,
    tolerance: Tolerance = Tolerance(),  # noqa: B008 - frozen
) -> Plan:
    """Expected uncertainty of the fed ratio.

    Args:
        length_mm: commanded at each feed. repeats: feeds. scatter_mm: of one feed.
        marked: whether a mark and what remains are read (the zero cancels), or a cut piece.

    Raises:
        InputError: impossible sizes, or fewer than one repeat.
    """
    _check_repeats(repeats)
    for what, value in (("length", length_mm), ("scatter", scatter_mm)):
        if not 0 < value < math.inf:
            raise InputError(f"a {what} of {value:g} mm is impossible", hint="Give mm above 0.")
    own = instrument.own_scale()[1] if marked else instrument.own_error(length_mm)[1] / length_mm
    rounding = instrument.rounding_sd_mm * (math.sqrt(2) if marked else 1.0)

    def expected(n: int) -> tuple[Expected, ...]:
        scatter = max(scatter_mm / math.sqrt(n), rounding) / length_mm
        u = math.hypot(scatter, own)
        return (Expected("fed_ratio", "E", u, "1", u <= tolerance.feed * ENOUGH),)

    return _plan(expected, repeats, "a longer feed")


def plan_traverse(
    axis: str,
    targets_mm: Sequence[float],
    *,
    instrument: Instrument,
    cycles: int = 5,
    tolerance: Tolerance = Tolerance(),  # noqa: B008 - frozen
    position_sd_mm: float = POSITION_SD_MM,
    reading_sd_mm: float = POSITION_READING_SD_MM,
) -> Plan:
    """Expected uncertainty of motion scale and mean reversal of one axis.

    Args:
        targets_mm: two or more. cycles: approaches of each target from either side.
        position_sd_mm: of a target off a straight line. reading_sd_mm: of one reading.

    Raises:
        InputError: fewer than two targets, or fewer than one cycle.
    """
    _check_repeats(cycles)
    t = np.unique(np.asarray(targets_mm, dtype=float))
    if t.size < 2 or not np.isfinite(t).all():
        raise InputError("one target tells nothing", hint="Plan two or more.", where=axis)
    spread = math.sqrt(float(((t - t.mean()) ** 2).sum()))
    along = math.sqrt(3) / 2 * ALONG_SD_RAD**2
    floor = instrument.rounding_sd_mm

    def expected(n: int) -> tuple[Expected, ...]:
        sd = max(math.sqrt(position_sd_mm**2 + reading_sd_mm**2 / (2 * n)), floor)
        scale = math.hypot(sd / spread, instrument.own_scale()[1], along)
        one = max(reading_sd_mm / math.sqrt(n), floor)
        return (
            Expected("motion_scale", axis, scale, "1", scale <= tolerance.scale * ENOUGH),
            Expected("reversal_mean", axis, one * math.sqrt(2 / t.size), "mm", True),
        )

    return _plan(
        expected, cycles, "more travel, more targets, or an instrument whose scale is better known"
    )


def _check_repeats(repeats: int) -> None:
    if not 1 <= repeats <= 1000:
        raise InputError(
            f"{repeats} repeats are impossible", hint="Give 1 or more.", where="repeats"
        )


def _plan(expected: Callable[[int], tuple[Expected, ...]], repeats: int, remedy: str) -> Plan:
    enough = next((n for n in range(1, MOST_REPEATS + 1) if decides(expected(n))), None)
    short = ", ".join(
        f"{e.name} {e.axis or ''}".strip() for e in expected(MOST_REPEATS) if not e.enough
    )
    reason = f"no number of repeats brings {short} to a quarter of the tolerance; {remedy} would"
    return Plan(repeats, expected(repeats), enough, reason if short else None)


def decides(expected: Sequence[Expected]) -> bool:
    """Whether verdicts on X, Y and shear will be nearly sure; of heights alone, on Z.

    Z and growth are told apart from these: screws are rarely wrong, and growth hangs on the
    caliper's zeros, which no piece betters.
    """
    first = [e for e in expected if e.axis not in ("Z", None)] or expected
    return all(e.enough for e in first)


def cheapest(
    candidates: Sequence[tuple[float, Sequence[Measurable]]],
    plan: Callable[[Sequence[Measurable]], Plan],
) -> int | None:
    """Index of the candidate (cost, places) of least cost whose plan decides, or None."""
    good = [
        (cost, k) for k, (cost, places) in enumerate(candidates) if decides(plan(places).expected)
    ]
    return min(good)[1] if good else None


def reading_minutes(readings: int) -> float:
    """How long a person takes with caliper or indicator, notes included."""
    return readings * READING_MIN


def feed_cost(length_mm: float, repeats: int, filament_diameter_mm: float) -> tuple[float, float]:
    """Minutes and grams of a feed trial: heating, feeding slowly, marking and reading."""
    volume_mm3 = length_mm * repeats * math.pi / 4 * filament_diameter_mm**2
    minutes = HEATING_MIN + repeats * (length_mm / FEED_MM_MIN + MARKING_MIN)
    return minutes, volume_mm3 / 1000 * DENSITY_G_CM3
