"""Misreads: a wrong tenth, a millimetre, swapped jaws, found before they bend the fit.

Robust start (least absolute deviations, 70 % kept), re-admission in at most 20 batches, check
backwards, take back what its own place confirms. A misread that cannot be told from its neighbour
is not set aside but reported as a contradiction. Works on any linear design with priors.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from asleft.measure.chance import t_quantile
from asleft.measure.linear import Array, LinearFit, Mask
from asleft.measure.span.backwards import check_backwards
from asleft.measure.span.doubt import (
    CLEAR_MM,
    TYPICAL_SD_MM,
    Misreads,
    Problem,
    limit,
    with_typical,
)

KEEP = 0.70
BATCHES = 20
ENOUGH_APART = 6  # fewer heights do not tell their scatter
APART_LEAST = 1.5  # heights often scatter more than the plane; a slip of the eye is larger still
ROUGHEST_MM = 0.3  # a face may be this far off; a slip of the eye does not repeat itself


def find_misreads(
    design: Array,
    observed: Array,
    prior_mean: Array,
    prior_sd: Array,
    apart: Mask,
    *,
    place: NDArray[np.intp] | None = None,
) -> Misreads:
    """Tell misreads from readings.

    Args:
        design: (n, p) derivatives of each reading. observed: (n,) mm, less the linearised
            constant. prior_mean, prior_sd: (p,).
        apart: mask (n,) of readings that may scatter more than the others (heights).
        place: number (n,) of the place each was taken at; None: each at its own.
    """
    enough = bool(apart.sum() >= ENOUGH_APART)
    scale = np.where(apart & enough, APART_LEAST, 1.0)
    group = apart & enough
    problem = Problem(design / scale[:, None], observed / scale, prior_mean, prior_sd, group)
    off, sd = _robust_start(problem)
    more = _apart_factor(off, sd, apart)
    if more > 1.0:
        scale = np.where(apart, scale * more, 1.0)
        problem = Problem(design / scale[:, None], observed / scale, prior_mean, prior_sd, group)
        off, sd = _robust_start(problem)
    quiet = bool(np.all(np.abs(off) < 3.0 * sd))
    kept = np.ones(off.size, dtype=bool) if quiet else _readmit(problem, np.abs(off), sd)
    found = check_backwards(problem, kept)
    found = replace(found, off_mm=found.off_mm * scale)
    return found if place is None else _confirmed(found, place)


def _confirmed(found: Misreads, place: NDArray[np.intp]) -> Misreads:
    """Take back what agrees with its mates: a face that is off is not a misread."""
    kept = found.kept.copy()
    grouped = {i for group in found.together for i in group}
    for i in np.flatnonzero(~found.kept):
        mates = np.flatnonzero(place == place[i])
        mates = mates[mates != i]
        if mates.size == 0 or int(i) in grouped or abs(found.off_mm[i]) > ROUGHEST_MM:
            continue
        kept[i] = abs(found.off_mm[i] - np.median(found.off_mm[mates])) < CLEAR_MM
    return replace(found, kept=kept)


def _apart_factor(off: Array, sd: float, apart: Mask) -> float:
    """How many times more the readings apart scatter still, if they are enough to tell."""
    if apart.sum() < ENOUGH_APART:
        return 1.0
    return max(1.0, 1.4826 * float(np.median(np.abs(off[apart]))) / sd)


def _robust_start(problem: Problem) -> tuple[Array, float]:
    """Departures from a fit by least absolute deviations, and a robust standard deviation."""
    everyone = np.ones(problem.observed.size, dtype=bool)
    sd = np.full(problem.observed.size, TYPICAL_SD_MM)
    fit = problem.fit(everyone, sd)
    for _ in range(12):
        # |r| = r²/|r|: each row's sd becomes the root of its departure.
        size = np.maximum(np.abs(fit.residuals), 0.2 * TYPICAL_SD_MM)
        sd = np.sqrt(size * TYPICAL_SD_MM)
        before, fit = fit, problem.fit(everyone, sd)
        if np.max(np.abs(fit.residuals - before.residuals)) < 0.1 * TYPICAL_SD_MM:
            break
    used = int(min(round(float(fit.leverage.sum())), problem.observed.size - 1))
    sizes = np.sort(np.abs(fit.residuals))[used:]
    spread = 1.4826 * float(np.median(sizes))
    return fit.residuals, with_typical(spread, sizes.size)


def _spread(fit: LinearFit, share: float) -> tuple[float, float]:
    """Standard deviation of a set from which the largest departures were left out, and dof."""
    dof = fit.residuals.size - float(fit.leverage.sum())
    raw = float(fit.residuals @ fit.residuals) / max(dof, 1.0)
    factor = 1.0
    if share < 1.0:
        # Variance of a normal sample of which only the middle share is kept.
        z = t_quantile((1 + share) / 2, math.inf)
        density = math.exp(-z * z / 2) / math.sqrt(2 * math.pi)
        factor = 1 - 2 * z * density / share
    return with_typical(math.sqrt(raw / factor), dof), dof


def _readmit(problem: Problem, distance: Array, sd: float) -> Mask:
    """Grow from the best 70 % until the next reading is too far off."""
    n = distance.size
    first = max(math.ceil(KEEP * n), 1)
    sizes = sorted({*range(first, n, max(1, math.ceil((n - first) / BATCHES))), n})
    kept = np.zeros(n, dtype=bool)
    kept[np.argsort(distance, kind="stable")[:first]] = True
    for size in sizes:
        fit = problem.fit(kept, sd)
        sd, dof = _spread(fit, float(kept.mean()))
        far = np.abs(problem.off(fit)) / (
            sd * np.sqrt(np.where(kept, 1.0, 1.0 + problem.share(fit, sd)))
        )
        order = np.argsort(far, kind="stable")[:size]
        kept = np.zeros(n, dtype=bool)
        kept[order[far[order] < limit(n, dof)]] = True
        if kept.sum() < size and size > first:
            break
    return kept
