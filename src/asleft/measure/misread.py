"""Misreads: a wrong tenth, a millimetre, swapped jaws, found before they bend the fit.

Robust start (least absolute deviations, 70 % kept), re-admission in at most 20 batches, check
backwards. A misread that cannot be told from its neighbour is not set aside but reported as a
contradiction. Works on any linear design with priors.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from asleft.measure.chance import t_quantile
from asleft.measure.linear import Array, LinearFit, Mask, least_squares

KEEP = 0.70
BATCHES = 20
FALSE_ALARM = 0.05  # over a whole set of good readings
CLEAR_MM = 0.1  # less than a wrong tenth is scatter, not a misread
TYPICAL_SD_MM = 0.03
ENOUGH_APART = 6  # fewer heights do not tell their scatter
APART_LEAST = 1.5  # heights often scatter more than the plane; a slip of the eye is larger still
FEW_OF_ITS_KIND = 0.1
SPARED = 1.0
_TYPICAL_DOF = 2.0
_TELL_APART = 9.0  # difference in χ² by which a misread must beat its nearest rival


@dataclass(frozen=True)
class Misreads:
    """`kept` is a mask (n,), `off_mm` (n,) what each reading departs from the others' fit.

    `unlocated` lists groups of readings (indices) of which one is wrong, nobody knows which, and
    which the fit cannot do without; `together` lists such groups that were set aside whole.
    """

    kept: Mask
    off_mm: Array
    unlocated: tuple[tuple[int, ...], ...]
    together: tuple[tuple[int, ...], ...]


@dataclass(frozen=True)
class _Problem:
    design: Array
    observed: Array
    prior_mean: Array
    prior_sd: Array

    def fit(self, mask: Mask, sd: Array | float) -> LinearFit:
        chosen_sd = sd[mask] if isinstance(sd, np.ndarray) else sd
        return least_squares(
            self.design[mask], self.observed[mask], chosen_sd, self.prior_mean, self.prior_sd
        )

    def off(self, fit: LinearFit) -> Array:
        return np.asarray(self.observed - self.design @ fit.values)

    def share(self, fit: LinearFit, sd: float) -> Array:
        """Variance of each fitted value over the variance of a reading, (n,)."""
        pulled = self.design @ fit.covariance
        return np.asarray(np.einsum("ij,ij->i", pulled, self.design) / sd**2)


def find_misreads(
    design: Array, observed: Array, prior_mean: Array, prior_sd: Array, apart: Mask
) -> Misreads:
    """Tell misreads from readings.

    Args:
        design: (n, p) derivatives of each reading. observed: (n,) mm, less the linearised
            constant. prior_mean, prior_sd: (p,).
        apart: mask (n,) of readings that may scatter more than the others (heights).
    """
    scale = np.where(apart & (apart.sum() >= ENOUGH_APART), APART_LEAST, 1.0)
    problem = _Problem(design / scale[:, None], observed / scale, prior_mean, prior_sd)
    off, sd = _robust_start(problem)
    more = _apart_factor(off, sd, apart)
    if more > 1.0:
        scale = np.where(apart, scale * more, 1.0)
        problem = _Problem(design / scale[:, None], observed / scale, prior_mean, prior_sd)
        off, sd = _robust_start(problem)
    quiet = bool(np.all(np.abs(off) < 3.0 * sd))
    kept = np.ones(off.size, dtype=bool) if quiet else _readmit(problem, np.abs(off), sd)
    found = _check_backwards(problem, kept)
    return replace(found, off_mm=found.off_mm * scale)


def _apart_factor(off: Array, sd: float, apart: Mask) -> float:
    """How many times more the readings apart scatter still, if they are enough to tell."""
    if apart.sum() < ENOUGH_APART:
        return 1.0
    return max(1.0, 1.4826 * float(np.median(np.abs(off[apart]))) / sd)


def _robust_start(problem: _Problem) -> tuple[Array, float]:
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
    return fit.residuals, _with_typical(spread, sizes.size)


def _with_typical(sd: float, dof: float) -> float:
    dof = max(dof, 0.0)
    pooled = dof * sd**2 + _TYPICAL_DOF * TYPICAL_SD_MM**2
    return math.sqrt(pooled / (dof + _TYPICAL_DOF))


def _limit(n: int, dof: float) -> float:
    return t_quantile(1 - FALSE_ALARM / (2 * n), max(dof, 1.0) + _TYPICAL_DOF)


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
    return _with_typical(math.sqrt(raw / factor), dof), dof


def _readmit(problem: _Problem, distance: Array, sd: float) -> Mask:
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
        kept[order[far[order] < _limit(n, dof)]] = True
        if kept.sum() < size and size > first:
            break
    return kept


def _check_backwards(problem: _Problem, kept: Mask) -> Misreads:
    """Drop the worst while it stands out, take back what does not, mark what cannot be told."""
    findings = _Findings(problem, kept.copy())
    share = problem.share(problem.fit(kept, TYPICAL_SD_MM), TYPICAL_SD_MM)
    # Only a reading with few others of its kind can be mistaken for one of them.
    for i in np.flatnonzero(~kept & (share > FEW_OF_ITS_KIND)):
        findings.kept[i] = True
        findings.look()
    for _ in range(kept.size):
        if not findings.look():
            break
    off = problem.off(problem.fit(findings.kept, TYPICAL_SD_MM))
    return Misreads(findings.kept, off, tuple(findings.unlocated), tuple(findings.together))


@dataclass
class _Findings:
    """What has been found so far, changed by each look."""

    problem: _Problem
    kept: Mask
    unlocated: list[tuple[int, ...]] = field(default_factory=list)
    together: list[tuple[int, ...]] = field(default_factory=list)

    def look(self) -> bool:
        """Treat the reading that stands out most; False when none does."""
        worst, rivals = _worst(self.problem, self.kept, self.unlocated)
        if worst is None:
            return False
        if len(rivals) == 1:
            self.kept[worst] = False
        elif self._can_spare(rivals):
            self.kept[list(rivals)] = False
            self.together.append(rivals)
        else:
            self.unlocated = _merged(self.unlocated, rivals)
        return True

    def _can_spare(self, rivals: tuple[int, ...]) -> bool:
        """Whether all others tell these places about as well as a reading there would."""
        without = self.kept.copy()
        without[list(rivals)] = False
        fit = self.problem.fit(without, TYPICAL_SD_MM)
        return bool(np.max(self.problem.share(fit, TYPICAL_SD_MM)[list(rivals)]) < SPARED)


def _merged(groups: list[tuple[int, ...]], more: tuple[int, ...]) -> list[tuple[int, ...]]:
    """Groups with one more, overlapping ones joined: they are one contradiction."""
    apart = [g for g in groups if not set(g) & set(more)]
    joined = set(more).union(*(set(g) for g in groups if set(g) & set(more)))
    return [*apart, tuple(sorted(joined))]


def _worst(
    problem: _Problem, kept: Mask, unlocated: list[tuple[int, ...]]
) -> tuple[int | None, tuple[int, ...]]:
    """The reading that stands out most, if any does, and those that could be it instead."""
    fit = problem.fit(kept, TYPICAL_SD_MM)
    index = np.flatnonzero(kept)
    standard = np.abs(fit.residuals) / np.sqrt(np.maximum(1.0 - fit.leverage, 1e-6))
    known = {i for group in unlocated for i in group}
    open_to_doubt = np.array([int(i) not in known for i in index])
    if not open_to_doubt.any():
        return None, ()
    k = int(np.argmax(np.where(open_to_doubt, standard, -1.0)))
    dof = index.size - float(fit.leverage.sum()) - 1.0
    rest = max(float(fit.residuals @ fit.residuals) - standard[k] ** 2, 0.0)
    sd = _with_typical(math.sqrt(rest / max(dof, 1.0)), dof)
    if standard[k] <= max(_limit(index.size, dof) * sd, CLEAR_MM):
        return None, ()
    near = (standard[k] ** 2 - standard**2) / sd**2 < _TELL_APART
    return int(index[k]), tuple(int(i) for i in index[near])
