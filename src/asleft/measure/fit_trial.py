"""The fit trial: how much larger a bore must be drawn than the shaft that is to turn in it.

Each try is interval data: it refuses, turns or is loose. A grid over two thresholds and the
scatter of printed bores gives the posterior. A try that contradicts the others by two steps is
for the eye, not for averaging. Stands on arrays alone.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from asleft.errors import InputError
from asleft.measure.linear import Array
from asleft.measure.readings import FitReading
from asleft.measure.result import BudgetLine, Proposal, Quantity, Solution, Verdict

Part = Literal["hole", "shaft"]
ORDER = ("refuses", "turns", "loose")
_SAYS = ("refuses", "turns", "is loose")
STEP_MM = 0.05  # of a fit piece; what a fit may be off without harm
CONTRADICTION_MM = 0.1  # two steps of a fit piece: more than bores of one print differ
WIDE_MM = 0.1  # an interval wider than this leaves more than two steps open
BEYOND_MM = 0.3  # how far beyond the tries the thresholds may lie
PLAY_MM = 0.4  # from just turning to loose, at most; a guess, ours
SCATTERS_MM = np.geomspace(0.003, 0.06, 9)  # one bore against the next
SCATTER_TYPICAL_MM, SCATTER_LOG_SD = 0.015, 0.8  # before any try; a guess, ours
_GRID = 241


def solve_fit(
    readings: Sequence[FitReading],
    *,
    part: Part | None = None,
    gauge_u_mm: float | None = None,
) -> Solution:
    """Estimate the clearance that must be drawn for the part to turn.

    Args:
        readings: tries, mm. A gauge size that is off by some hundredths does no harm as long as
            the same gauge is meant afterwards: it shifts clearance and drawing alike.
        part: whether bores (`hole`) or pins (`shaft`) were printed; None: told from the tries.

    Returns:
        Quantities `clearance` (mm on the diameter, drawn, at which it begins to turn; what the
        drawing would have to add were the print perfect is 0) and `clearance_loose` (at which it
        becomes loose), and a proposal to the making: what to draw so that it surely turns.

    Raises:
        InputError: no readings, or sizes that are impossible.
    """
    _check(readings)
    part = part or _told(readings)
    sign = 1.0 if part == "hole" else -1.0
    drawn = np.array([sign * (r.drawn_mm - r.gauge_mm) for r in readings])
    rank = np.array([ORDER.index(r.outcome) for r in readings])
    trouble = _contradiction(drawn, rank)
    turns, loose = _posterior(drawn, rank)
    first = _quantity("clearance", turns, part, bool((rank == 0).any()), bool((rank > 0).any()))
    second = _quantity(
        "clearance_loose", loose, part, bool((rank < 2).any()), bool((rank == 2).any())
    )
    proposal = _proposal(first, second, turns, trouble, part)
    return Solution("fit", (first, second), (proposal,), _budget(first, turns), (), ())


def solve_fits(
    tries: Mapping[str | None, Sequence[FitReading]], *, gauge_u_mm: float | None = None
) -> Solution:
    """Estimate bores and pins of one piece, each kind for itself.

    Args:
        tries: by kind, `bore` or `pin`; None where nobody said, then it is told from the tries.
        gauge_u_mm: how well the real part's size is known; None is unknown.

    Raises:
        InputError: as `solve_fit`.
    """
    if not tries:
        raise InputError("there are no readings", hint="Try the shaft in the bores first.")
    parts: dict[str | None, Part] = {"bore": "hole", "pin": "shaft"}
    found = [
        solve_fit(rows, part=parts.get(kind), gauge_u_mm=gauge_u_mm) for kind, rows in tries.items()
    ]
    return Solution(
        "fit",
        tuple(q for each in found for q in each.quantities),
        tuple(p for each in found for p in each.proposals),
        tuple(line for each in found for line in each.budget),
    )


def _check(readings: Sequence[FitReading]) -> None:
    if not readings:
        raise InputError("there are no readings", hint="Try the shaft in the bores first.")
    for row, r in enumerate(readings, start=1):
        if not (0 < r.drawn_mm < math.inf and 0 < r.gauge_mm < math.inf):
            raise InputError(
                f"{r.drawn_mm:g} mm for a gauge of {r.gauge_mm:g} mm is impossible",
                hint="Sizes are above 0.",
                where=f"row {row}",
            )
        if r.outcome not in ORDER:
            raise InputError(
                f"{r.outcome!r} is no outcome",
                hint=f"Use one of {' '.join(ORDER)}.",
                where=f"row {row}",
            )


def _told(readings: Sequence[FitReading]) -> Part:
    """Bores turn more easily the larger they are drawn, pins the smaller."""
    more = np.array([r.drawn_mm - r.gauge_mm for r in readings])
    rank = np.array([ORDER.index(r.outcome) for r in readings], dtype=float)
    together = float((more - more.mean()) @ (rank - rank.mean()))
    if abs(together) < 1e-12:
        together = float(np.median(more))
    return "hole" if together >= 0 else "shaft"


def _contradiction(drawn: Array, rank: Array) -> str | None:
    """The two tries whose order is most upside down, if by two steps or more."""
    worst, rows = 0.0, (0, 0)
    for limit in (0, 1):
        tight, easy = np.flatnonzero(rank <= limit), np.flatnonzero(rank > limit)
        if tight.size and easy.size:
            i = int(tight[np.argmax(drawn[tight])])
            j = int(easy[np.argmin(drawn[easy])])
            if drawn[i] - drawn[j] > worst:
                worst, rows = float(drawn[i] - drawn[j]), (i, j)
    if worst < CONTRADICTION_MM - 1e-9:
        return None
    i, j = rows
    return (
        f"row {i + 1} {_SAYS[rank[i]]} though it has {worst:.2f} mm more room than row {j + 1}, "
        f"which {_SAYS[rank[j]]}: look for burrs or a seam, clear them, try again"
    )


@dataclass(frozen=True)
class _Marginal:
    """A distribution on a grid of clearances, mm."""

    at_mm: Array
    weight: Array

    @property
    def mean_mm(self) -> float:
        return float(self.at_mm @ self.weight)

    @property
    def u_mm(self) -> float:
        return math.sqrt(float((self.at_mm - self.mean_mm) ** 2 @ self.weight))

    def quantile(self, p: float) -> float:
        """Within cells the weight lies evenly."""
        return float(np.interp(p, *self._cumulated()))

    def within(self, middle_mm: float, half_mm: float) -> float:
        """Probability of lying that near to a place."""
        weight, edges = self._cumulated()
        ends = np.interp([middle_mm - half_mm, middle_mm + half_mm], edges, weight)
        return float(ends[1] - ends[0])

    def _cumulated(self) -> tuple[Array, Array]:
        step = self.at_mm[1] - self.at_mm[0]
        edges = np.append(self.at_mm - step / 2, self.at_mm[-1] + step / 2)
        return np.append(0.0, np.cumsum(self.weight)), edges


def _posterior(drawn: Array, rank: Array) -> tuple[_Marginal, _Marginal]:
    """Marginals of the threshold from refusing to turning, and from turning to loose.

    Flat before any try; the play between the two is flat up to `PLAY_MM`; scatter log-normal.
    """
    from scipy.special import log_ndtr, ndtr

    tries, count = np.unique(
        np.column_stack([np.round(drawn, 3), rank]), axis=0, return_counts=True
    )
    drawn, rank = tries[:, 0], tries[:, 1].astype(int)
    at = np.linspace(drawn.min() - BEYOND_MM, drawn.max() + BEYOND_MM, _GRID)
    play = at[None, :] - at[:, None]  # [first, second]
    allowed = (play > 0) & (play <= PLAY_MM)
    total = np.zeros((_GRID, _GRID))
    peak = -math.inf
    for scatter in SCATTERS_MM:
        z = (at[:, None] - drawn[None, :]) / scatter
        log = np.where(allowed, 0.0, -np.inf)
        log += (log_ndtr(z[:, rank == 0]) @ count[rank == 0])[:, None]
        log += (log_ndtr(-z[:, rank == 2]) @ count[rank == 2])[None, :]
        for k in np.flatnonzero(rank == 1):
            between = ndtr(z[None, :, k]) - ndtr(z[:, None, k])
            log += count[k] * np.log(np.maximum(between, 1e-300))
        log -= 0.5 * (math.log(scatter / SCATTER_TYPICAL_MM) / SCATTER_LOG_SD) ** 2
        top = float(log.max())
        if top > peak:
            total *= math.exp(peak - top) if peak > -math.inf else 0.0
            peak = top
        total += np.exp(log - peak)
    total /= total.sum()
    return _Marginal(at, total.sum(axis=1)), _Marginal(at, total.sum(axis=0))


def _quantity(name: str, found: _Marginal, part: Part, below: bool, above: bool) -> Quantity:
    """Bounded on both sides: value, u and interval; else only the side that was tried."""
    low = found.quantile(0.025) if below else None
    high = found.quantile(0.975) if above else None
    if below and above:
        return Quantity(
            name, found.mean_mm, found.u_mm, low, high, "mm", None, None, f"of a {part}"
        )
    missing = "tighter" if not below else "wider"
    why = f"no try was {missing} than where this begins: print {missing} ones"
    return Quantity(name, None, None, low, high, "mm", None, None, why)


def _proposal(
    first: Quantity, second: Quantity, turns: _Marginal, trouble: str | None, part: Part
) -> Proposal:
    verdict, reason = _decide(first, second, trouble, part)
    wanted = first.high95 if verdict == "adjust" else None
    crowded = wanted is not None and second.low95 is not None and second.low95 < wanted
    if crowded and first.value is not None and second.value is not None:
        # No room to be sure of both: the middle is as far from refusing as from loose.
        wanted = (first.value + second.value) / 2
    known = first.value is not None
    return Proposal(
        setting="clearance",
        axis=part,
        place="making",
        in_force=None,
        proposed=wanted,
        u=first.u,
        verdict=verdict,
        provisional=False,
        p_within_tolerance=turns.within(0.0, STEP_MM) if known else None,
        p_after=turns.within(turns.mean_mm, STEP_MM) if known else None,
        reason=reason,
    )


def _decide(
    first: Quantity, second: Quantity, trouble: str | None, part: Part
) -> tuple[Verdict, str]:
    what = "draw holes larger" if part == "hole" else "draw shafts smaller"
    if trouble:
        return "inspect", trouble
    if first.value is None or first.low95 is None or first.high95 is None:
        return "measure_more", first.reason or ""
    width = first.high95 - first.low95
    shown = f"it begins to turn at {first.value:.3f} mm ({first.low95:.3f} to {first.high95:.3f})"
    if width > WIDE_MM:
        return "measure_more", (
            f"{shown}, which leaves {width:.2f} mm open: print steps between "
            f"{first.low95:.2f} and {first.high95:.2f} mm"
        )
    if first.high95 <= 0:
        return "leave", f"{shown}: as drawn it turns"
    more = ""
    if second.value is not None:
        more = f"; from {second.value:.3f} mm on it is loose"
    return "adjust", f"{shown}{more}; to turn surely, {what} by {first.high95:.2f} mm"


def _budget(first: Quantity, found: _Marginal) -> tuple[BudgetLine, ...]:
    if first.u is None:
        return ()
    u = found.u_mm
    return (BudgetLine("clearance", "steps of the tries and scatter of bores", "A", u, 1.0, u),)
