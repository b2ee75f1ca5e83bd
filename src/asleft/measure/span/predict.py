"""The second piece, predicted before it is measured: each place with its 95 % interval.

The first fit, the change of settings and the budget give the size; the caliper's zeros and
scale are shared with the first piece and largely cancel. What differs from piece to piece is
allowed for as type-B inputs, stated below. Proving is next door, in `prove`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Protocol

import numpy as np

from asleft.measure.chance import coverage_factor
from asleft.measure.instrument import Instrument
from asleft.measure.linear import Array
from asleft.measure.readings import SpanReading
from asleft.measure.span.design import (
    AXES,
    EXPANSION_PER_K,
    Measurable,
    Places,
    model,
)
from asleft.measure.span.drives import DriveChange
from asleft.measure.span.fit import SpanFit, fit_span

PIECE_GROWTH_SD_MM = 0.015  # bead width from one piece to the next of the same making; ours
PIECE_FIRST_LAYER_SD_MM = 0.02  # the bed is warmed and homed anew; ours


class LabelledPlace(Measurable, Protocol):
    """A place with the label that the drawing shows."""

    @property
    def label(self) -> str:
        """Short and unique on the piece."""
        ...


@dataclass(frozen=True)
class PredictedPlace:
    """One place, mm: drawn, predicted for one reading, standard uncertainty, 95 % interval."""

    label: str
    direction: str
    faces: str
    nominal_mm: float
    predicted_mm: float
    u_mm: float
    low95_mm: float
    high95_mm: float


@dataclass(frozen=True)
class SpanPrediction:
    """What the second piece should measure.

    `covariance` (n, n), mm², is of the places' sizes as the caliper would show their long-run
    means; `reading_variance` (n,) comes on top for a single reading, `floor_mm2` is the least
    variance of any mean. `dof` says how well the scatter is known; `allowances_mm` states what
    was allowed for differences between pieces.
    """

    places: tuple[PredictedPlace, ...]
    covariance: tuple[tuple[float, ...], ...]
    reading_variance: tuple[float, ...]
    floor_mm2: float
    dof: float
    allowances_mm: dict[str, float]

    def to_dict(self) -> dict[str, Any]:
        """JSON values; an infinite `dof` becomes None."""
        values = asdict(self)
        values["dof"] = self.dof if math.isfinite(self.dof) else None
        return values

    @classmethod
    def from_dict(cls, values: Mapping[str, Any]) -> SpanPrediction:
        """The inverse of `to_dict`."""
        dof = values["dof"]
        return cls(
            places=tuple(PredictedPlace(**p) for p in values["places"]),
            covariance=tuple(tuple(row) for row in values["covariance"]),
            reading_variance=tuple(values["reading_variance"]),
            floor_mm2=values["floor_mm2"],
            dof=math.inf if dof is None else dof,
            allowances_mm=dict(values["allowances_mm"]),
        )


def predict_span(
    first_readings: Sequence[SpanReading],
    places: Sequence[LabelledPlace],
    *,
    instrument: Instrument,
    steps_before: Mapping[str, float],
    steps_after: Mapping[str, float],
    skew_before: Mapping[str, float] | None = None,
    skew_after: Mapping[str, float] | None = None,
    piece_temperature_u_k: float = 2.0,
    drive: DriveChange = DriveChange(),  # noqa: B008 - frozen
) -> SpanPrediction:
    """Predict a new piece of the same making, printed after the change, read with the same caliper.

    Args:
        first_readings: of the first piece, mm.
        places: anything with `label`, `direction`, `faces`, `nominal_mm`.
        steps_before, steps_after: steps per mm by axis; an axis missing in either is unchanged.
        skew_before, skew_after: skew factors by plane; a plane missing before had
            none, a plane missing after is unchanged.
        piece_temperature_u_k: doubt about each piece's temperature, K.
        drive: how steps move the axes, and a delta's arms before and after.

    Raises:
        InputError: readings that are impossible (as `solve_span`).
    """
    fit = fit_span(first_readings, instrument, piece_temperature_u_k)
    where = Places.of(places)
    change = settings_change(steps_before, steps_after, skew_before or {}, skew_after or {}, drive)
    predicted, slopes = model(where, fit.theta, change)
    # The first piece's temperature is not the second's; what it did to the first stays in theta.
    own = fit.index("piece_temperature")
    predicted = predicted - slopes[:, own] * fit.theta[own]
    slopes[:, own] = 0.0
    reading, face = fit.scatter.parts(np.ones(len(places)), where.is_z)
    covariance = slopes @ fit.covariance @ slopes.T + np.diag(face)
    covariance += _between_pieces(slopes, fit, where, piece_temperature_u_k)
    floor = instrument.rounding_sd_mm**2
    dof = _scatter_dof(fit.scatter.spread, float(np.mean(reading)), float(np.mean(face)))
    u = np.sqrt(np.diag(covariance) + np.maximum(reading, floor))
    return SpanPrediction(
        places=_predicted(places, predicted, u, coverage_factor(dof)),
        covariance=tuple(tuple(float(v) for v in row) for row in covariance),
        reading_variance=tuple(float(v) for v in reading),
        floor_mm2=floor,
        dof=dof,
        allowances_mm={
            "growth_between_pieces": PIECE_GROWTH_SD_MM,
            "first_layer_between_pieces": PIECE_FIRST_LAYER_SD_MM,
            "scatter_of_faces": fit.scatter.face_mm,
            "scatter_of_a_reading": fit.scatter.reading_mm,
        },
    )


def _predicted(
    places: Sequence[LabelledPlace], predicted: Array, u: Array, factor: float
) -> tuple[PredictedPlace, ...]:
    return tuple(
        PredictedPlace(
            label=p.label,
            direction=p.direction,
            faces=p.faces,
            nominal_mm=p.nominal_mm,
            predicted_mm=float(predicted[k]),
            u_mm=float(u[k]),
            low95_mm=float(predicted[k] - factor * u[k]),
            high95_mm=float(predicted[k] + factor * u[k]),
        )
        for k, p in enumerate(places)
    )


def _between_pieces(slopes: Array, fit: SpanFit, where: Places, temperature_u_k: float) -> Array:
    """Covariance (n, n) from what is new in the second piece, the same at all its places."""
    growth = slopes[:, fit.index("growth")] * PIECE_GROWTH_SD_MM
    layer = slopes[:, fit.index("first_layer")] * PIECE_FIRST_LAYER_SD_MM
    warmth = where.nominal_mm * EXPANSION_PER_K * temperature_u_k
    new = np.column_stack([growth, layer, warmth])
    return np.asarray(new @ new.T)


def _scatter_dof(spread: Array, reading: float, face: float) -> float:
    """Degrees of freedom of reading and face scatter together (Satterthwaite)."""
    slope = np.array([reading, face])
    doubt = float(slope @ spread[:2, :2] @ slope)
    return max(2 * (reading + face) ** 2 / doubt, 2.0) if doubt > 0 else math.inf


def settings_change(
    steps_before: Mapping[str, float],
    steps_after: Mapping[str, float],
    skew_before: Mapping[str, float],
    skew_after: Mapping[str, float],
    drive: DriveChange = DriveChange(),  # noqa: B008 - frozen
) -> Array:
    """The 3 by 3 map that new settings put before the printed map of the old ones.

    Printed = A·K(k)·drawn with K taking k·y off x; new steps stretch the motion of each motor
    by after/before, and A itself stays: K(k_before)⁻¹ · stretch · K(k_after).
    """
    stretch = drive.motion(steps_before, steps_after)
    before = _skew_map(skew_before)
    after = _skew_map({**skew_before, **skew_after})
    return np.asarray(np.linalg.inv(before) @ stretch @ after)


def _skew_map(factors: Mapping[str, float]) -> Array:
    k = np.eye(3)
    for plane, factor in factors.items():
        k[AXES.index(plane[0]), AXES.index(plane[1])] = -factor
    return k
