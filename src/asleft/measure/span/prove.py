"""The proof: do the second piece's readings fall where they were predicted?

One number says so: χ² of all places with the full covariance of the prediction, and its p. A
misread in the second piece is named, not averaged in. Predicts nothing itself.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from asleft.errors import InputError
from asleft.measure.chance import coverage_factor, f_upper_tail, t_quantile
from asleft.measure.linear import Array
from asleft.measure.readings import SpanReading
from asleft.measure.result import SetAside
from asleft.measure.span.predict import SpanPrediction

HOLDS_AT = 0.01  # a true change fails its proof once in a hundred
MISREAD_AT = 0.01  # over all readings of the second piece
CLEAR_MM = 0.1


@dataclass(frozen=True)
class ProvedPlace:
    """One place, mm: predicted, mean reading, 95 % interval for that mean, and whether inside."""

    label: str
    predicted_mm: float
    reading_mm: float
    readings: int
    low95_mm: float
    high95_mm: float
    inside: bool


@dataclass(frozen=True)
class Proof:
    """The judgement on a second piece.

    `chi2` on `dof` places; `p` is its probability if the prediction is right, allowing for the
    prediction's scatter being known from few readings (F distribution). `holds` is the answer.
    """

    holds: bool
    chi2: float
    dof: int
    p: float
    inside: int
    places: tuple[ProvedPlace, ...]
    set_aside: tuple[SetAside, ...]
    reason: str

    def to_dict(self) -> dict[str, Any]:
        """JSON values."""
        return asdict(self)


def prove_span(prediction: SpanPrediction, readings: Sequence[SpanReading]) -> Proof:
    """Judge the second piece.

    Args:
        prediction: made before the piece was measured.
        readings: of the second piece, mm; `place` is a label of the prediction, or None where
            direction, faces and drawn size tell one place from all others.

    Raises:
        InputError: no readings, or a reading at a place that was not predicted.
    """
    if not readings:
        raise InputError("there are no readings", hint="Measure the second piece first.")
    where = np.array([_place_of(prediction, r, row) for row, r in enumerate(readings, start=1)])
    values = np.array([r.reading_mm for r in readings], dtype=float)
    kept, aside = _without_misreads(prediction, where, values)
    used = sorted(set(where[kept].tolist()))
    count = np.array([np.sum(where[kept] == k) for k in used])
    means = np.array([values[kept][where[kept] == k].mean() for k in used])
    covariance = _of_means(prediction, used, count)
    off = means - np.array([prediction.places[k].predicted_mm for k in used])
    chi2 = float(off @ np.linalg.solve(covariance, off))
    p = f_upper_tail(chi2 / len(used), len(used), prediction.dof)
    places = _places(prediction, used, count, means, covariance)
    inside = sum(place.inside for place in places)
    return Proof(
        holds=p >= HOLDS_AT,
        chi2=chi2,
        dof=len(used),
        p=p,
        inside=inside,
        places=places,
        set_aside=aside,
        reason=_reason(p, inside, len(used), len(aside)),
    )


def _place_of(prediction: SpanPrediction, r: SpanReading, row: int) -> int:
    same = [
        k
        for k, p in enumerate(prediction.places)
        if (p.direction, p.faces) == (r.direction, r.faces)
        and abs(p.nominal_mm - r.nominal_mm) < 1e-3
    ]
    labelled = [k for k in same if prediction.places[k].label == r.place]
    if labelled:
        return labelled[0]
    if len(same) == 1 and (r.place is None or r.place not in {p.label for p in prediction.places}):
        return same[0]
    what = f"{r.direction} {r.faces} {r.nominal_mm:g} mm"
    if r.place is not None:
        what += f" at place {r.place!r}"
    raise InputError(
        f"{what} was not foretold, or is not one place alone",
        hint="Use the labels of the drawing in the column place.",
        where=f"row {row}",
    )


def _of_means(prediction: SpanPrediction, used: Sequence[int], count: Array) -> Array:
    """Covariance of place means of `count` readings each."""
    covariance = np.array(prediction.covariance)[np.ix_(used, used)]
    reading = np.array(prediction.reading_variance)[used] / count
    return np.asarray(covariance + np.diag(np.maximum(reading, prediction.floor_mm2)))


def _without_misreads(
    prediction: SpanPrediction, where: Array, values: Array
) -> tuple[Array, tuple[SetAside, ...]]:
    """Drop the reading that disagrees most with all others and the prediction, while one does."""
    predicted = np.array([p.predicted_mm for p in prediction.places])
    covariance = np.array(prediction.covariance)
    reading = np.maximum(np.array(prediction.reading_variance), prediction.floor_mm2)
    limit = t_quantile(1 - MISREAD_AT / (2 * values.size), prediction.dof)
    kept = np.ones(values.size, dtype=bool)
    aside: list[SetAside] = []
    while kept.sum() > max(2, 0.7 * values.size):
        index = np.flatnonzero(kept)
        spots = where[index]
        inverse = np.linalg.inv(covariance[np.ix_(spots, spots)] + np.diag(reading[spots]))
        pulled = inverse @ (values[index] - predicted[spots])
        # Departure from what all others and the prediction say of this one, and its sd.
        departure = pulled / np.diag(inverse)
        standard = np.abs(departure) * np.sqrt(np.diag(inverse))
        worst = int(np.argmax(standard))
        if standard[worst] < limit or abs(departure[worst]) < CLEAR_MM:
            break
        i = int(index[worst])
        kept[i] = False
        why = f"{departure[worst]:+.2f} mm off what the others say; measure this place again"
        aside.append(SetAside(i + 1, float(values[i]), why))
    return kept, tuple(sorted(aside, key=lambda s: s.row))


def _places(
    prediction: SpanPrediction,
    used: Sequence[int],
    count: Array,
    means: Array,
    covariance: Array,
) -> tuple[ProvedPlace, ...]:
    factor = coverage_factor(prediction.dof)
    found = []
    for j, k in enumerate(used):
        p = prediction.places[k]
        half = factor * math.sqrt(covariance[j, j])
        low, high = p.predicted_mm - half, p.predicted_mm + half
        mean = float(means[j])
        found.append(
            ProvedPlace(
                p.label, p.predicted_mm, mean, int(count[j]), low, high, low <= mean <= high
            )
        )
    return tuple(found)


def _reason(p: float, inside: int, n: int, aside: int) -> str:
    words = f"{inside} of {n} places came out inside their 95 % interval (p = {p:.3f})"
    if aside:
        words += f"; {aside} {'reading was' if aside == 1 else 'readings were'} set aside"
    if p < HOLDS_AT:
        return f"not proved: {words}; the second piece is not what the change should have made"
    return f"proved: {words}"
