"""The joint Cramér-Rao bound of a span piece: no unbiased use of its readings does better.

Fisher information by numeric derivatives of the simulated machine itself, with the type-B
truths' own spread as prior information and the true scatter. Uses nothing of the solvers.
"""

from __future__ import annotations

import numpy as np
from benchmarks.accuracy.machine import NAMES, Array, Hidden, Rows, Shape, sds, size_mm

from asleft.measure import Instrument

_MAP = 4  # scales and shear: nothing is known of them before the readings


def bound(shape: Shape, hidden: Hidden, instrument: Instrument) -> dict[str, float]:
    """Least possible rms error of every truth, in its own unit."""
    rows = Rows.of(shape)
    slopes = derivatives(rows)
    weight = np.linalg.inv(_scatter(rows, hidden, instrument))
    used = np.any(np.abs(slopes) > 1e-9, axis=0)
    prior = sds(instrument, hidden) ** -2.0
    prior[:_MAP] = 0.0
    told = slopes.T @ weight @ slopes + np.diag(prior)
    scale = np.sqrt(np.diag(told)[used])
    inverse = np.linalg.inv(told[np.ix_(used, used)] / np.outer(scale, scale))
    least = np.full(len(NAMES), np.nan)
    least[used] = np.sqrt(np.diag(inverse)) / scale
    return dict(zip(NAMES, (float(v) for v in least), strict=True))


def derivatives(rows: Rows) -> Array:
    """(n, 13) derivatives of the readings by the truths, central differences at zero."""
    columns = []
    for k in range(len(NAMES)):
        step = np.zeros(len(NAMES))
        step[k] = 1e-5
        columns.append((size_mm(rows, step) - size_mm(rows, -step)) / 2e-5)
    return np.column_stack(columns)


def _scatter(rows: Rows, hidden: Hidden, instrument: Instrument) -> Array:
    """(n, n) covariance of the readings: rounding, the hand, and the face they share."""
    times = np.where(rows.is_z, hidden.z_times**2, 1.0)
    same = rows.place[:, None] == rows.place[None, :]
    alone = hidden.noise**2 * times + instrument.resolution_mm**2 / 12
    return np.asarray(np.diag(alone) + hidden.face**2 * same * times[:, None])
