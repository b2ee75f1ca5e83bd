"""The uncertainty budget of a span quantity, largest line first, in the terms of JCGM 100.

Each type-B input is a prior row of the fit, so its sensitivity is read off the covariance; what
the readings give is parted into reading scatter and face scatter. Decides nothing.
"""

from __future__ import annotations

import math

import numpy as np

from asleft.measure.linear import Array
from asleft.measure.result import BudgetLine
from asleft.measure.span.design import MAP_SD, PARAMETERS, WORDS
from asleft.measure.span.fit import SpanFit

NEGLIGIBLE = 1e-3  # of the largest line


def budget_of(fit: SpanFit, row: Array, quantity: str) -> tuple[BudgetLine, ...]:
    """Lines of `row · theta`: every input with its u, sensitivity and contribution.

    The squares of all contributions (the negligible ones too) add up to the squared u.
    """
    lines = _by_readings(fit, row, quantity)
    pulled = fit.covariance @ row
    for k in np.flatnonzero(fit.active):
        sd = float(fit.prior_sd[k])
        name = PARAMETERS[k]
        if sd >= MAP_SD and name not in WORDS:
            continue  # no knowledge worth a line: the readings alone tell scale and shear
        sensitivity = float(pulled[k]) / sd**2
        lines.append(BudgetLine(quantity, WORDS[name], "B", sd, sensitivity, abs(sensitivity) * sd))
    lines.sort(key=lambda line: -line.contribution)
    least = lines[0].contribution * NEGLIGIBLE if lines else 0.0
    return tuple(line for line in lines if line.contribution >= least)


def _by_readings(fit: SpanFit, row: Array, quantity: str) -> list[BudgetLine]:
    reading, face, _ = fit.by_scatter(row)
    scales = (
        ("scatter of a reading", float(reading), fit.scatter.reading_mm),
        ("scatter of faces", float(face), fit.scatter.face_mm),
    )
    lines = []
    for words, variance, u in scales:
        contribution = math.sqrt(max(variance, 0.0))
        lines.append(BudgetLine(quantity, words, "A", u, contribution / u, contribution))
    return lines


def by_readings_u(fit: SpanFit, row: Array) -> tuple[float, float]:
    """The parts of u that any further readings shrink, and that only further places shrink."""
    reading, face, _ = fit.by_scatter(row)
    return math.sqrt(max(float(reading), 0.0)), math.sqrt(max(float(face), 0.0))
