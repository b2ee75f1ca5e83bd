"""The check backwards: which readings stand out, and whether it can be told which one is wrong.

Takes back what does not stand out, drops the worst while one does, and reports a contradiction
where several readings could be the wrong one. Stands on `doubt`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from asleft.measure.linear import Mask
from asleft.measure.span.doubt import CLEAR_MM, TYPICAL_SD_MM, Misreads, Problem, limit, scatter

FEW_OF_ITS_KIND = 0.1
SPARED = 1.0
_TELL_APART = 9.0  # difference in χ² by which a misread must beat its nearest rival
_FORGIVING_ROUNDS = 5


def check_backwards(problem: Problem, kept: Mask) -> Misreads:
    """Drop the worst while it stands out, take back what does not, mark what cannot be told."""
    findings = _Findings(problem, _forgiven(problem, kept))
    share = problem.share(problem.fit(kept, TYPICAL_SD_MM), TYPICAL_SD_MM)
    # Only a reading with few others of its kind can be mistaken for one of them.
    for i in np.flatnonzero(~findings.kept & (share > FEW_OF_ITS_KIND)):
        findings.kept[i] = True
        findings.look()
    for _ in range(kept.size):
        if not findings.look():
            break
    off = problem.off(problem.fit(findings.kept, TYPICAL_SD_MM))
    return Misreads(findings.kept, off, tuple(findings.unlocated), tuple(findings.together))


def _forgiven(problem: Problem, kept: Mask) -> Mask:
    """The mask, with what does not stand out against the readings kept taken back."""
    kept = kept.copy()
    for _ in range(_FORGIVING_ROUNDS):
        if kept.all():
            break
        fit = problem.fit(kept, TYPICAL_SD_MM)
        bars = []
        for of_apart in (False, True):
            sd, dof = scatter(fit, problem.apart[kept], of_apart=of_apart)
            bars.append(max(limit(kept.size, dof) * sd, CLEAR_MM))
        off = np.abs(problem.off(fit)) / np.sqrt(1.0 + problem.share(fit, TYPICAL_SD_MM))
        back = ~kept & (off <= np.where(problem.apart, bars[1], bars[0]))
        if not back.any():
            break
        kept |= back
    return kept


@dataclass
class _Findings:
    """What has been found so far, changed by each look."""

    problem: Problem
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
    problem: Problem, kept: Mask, unlocated: list[tuple[int, ...]]
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
    worst = float(standard[k])
    sd, dof = scatter(fit, problem.apart[index], of_apart=bool(problem.apart[index[k]]), less=worst)
    if worst <= max(limit(index.size, dof) * sd, CLEAR_MM):
        return None, ()
    near = (worst**2 - standard**2) / sd**2 < _TELL_APART
    return int(index[k]), tuple(int(i) for i in index[near])
