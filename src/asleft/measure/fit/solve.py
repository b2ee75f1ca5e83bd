"""The fit trial: how much larger a bore must be drawn than the shaft that is to turn in it.

Each try is interval data: it refuses, turns or is loose. What they leave possible stands in
`thresholds`; here it becomes a verdict and a size to draw. A try that contradicts the others by
two steps is for the eye, not for averaging.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Literal

import numpy as np

from asleft.errors import InputError
from asleft.measure.chance import coverage_factor
from asleft.measure.fit.thresholds import Marginal, Thresholds, thresholds
from asleft.measure.linear import Array
from asleft.measure.readings import FitReading
from asleft.measure.result import BudgetLine, Proposal, Quantity, Solution, Verdict
from asleft.measure.verdict import LEAVE_AT

Part = Literal["hole", "shaft"]
ORDER = ("refuses", "turns", "loose")
_SAYS = ("refuses", "turns", "is loose")
STEP_MM = 0.05  # of a fit piece; what a fit may be off without harm
CONTRADICTION_MM = 0.1  # two steps of a fit piece: more than bores of one print differ
# With both neighbours of a border tried, its step and one either way are what bores that differ can
# leave open; an interval wider than these three was not tried closely enough.
WIDE_MM = 3 * STEP_MM
SCATTER_REASON = "one to the next, rms"


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

        gauge_u_mm: how well the real part's size is known; None is unknown.

    Returns:
        Quantities, mm on the diameter: `clearance` (drawn, at which it begins to turn; were the
        print perfect, 0), `clearance_loose` (at which it becomes loose), `part_scatter` (of one
        printed part against the next) and `gauge` (the real part's size); and a proposal to the
        making: what to draw so that the next one turns. Its `p_within_tolerance` is the
        probability that the next one turns if drawn plainly, `p_after` if drawn as proposed.

    Raises:
        InputError: no readings, or sizes that are impossible.
    """
    _check(readings)
    part = part or _told(readings)
    sign = 1.0 if part == "hole" else -1.0
    drawn = np.array([sign * (r.drawn_mm - r.gauge_mm) for r in readings])
    rank = np.array([ORDER.index(r.outcome) for r in readings])
    trouble = _contradiction(drawn, rank)
    found = thresholds(drawn, rank)
    tight, wide = bool((rank == 0).any()), bool((rank == 2).any())
    first = _quantity("clearance", found.turns, part, tight, bool((rank > 0).any()))
    second = _quantity("clearance_loose", found.loose, part, bool((rank < 2).any()), wide)
    proposal = _proposal(first, second, found, trouble, part)
    gauge = _gauge(readings, gauge_u_mm)
    scatter = _scatter(found, part)
    return Solution("fit", (first, second, scatter, gauge), (proposal,), _budget(first, part))


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


def _gauge(readings: Sequence[FitReading], gauge_u_mm: float | None) -> Quantity:
    """The real part's size as it was measured; its u where somebody said."""
    size = float(np.mean([r.gauge_mm for r in readings]))
    if gauge_u_mm is None:
        why = "nobody said how well your part was measured"
        return Quantity("gauge", size, None, None, None, "mm", None, None, why)
    half = coverage_factor(math.inf) * gauge_u_mm
    return Quantity("gauge", size, gauge_u_mm, size - half, size + half, "mm")


def _scatter(found: Thresholds, part: Part) -> Quantity:
    """How much parts differ from one to the next; few tries tell little of it."""
    low, high = found.scatter_within(0.025), found.scatter_within(0.975)
    value, u = found.scatter_mm, found.scatter_u_mm
    return Quantity("part_scatter", value, u, low, high, "mm", part, None, SCATTER_REASON)


def _quantity(name: str, found: Marginal, part: Part, below: bool, above: bool) -> Quantity:
    """Bounded on both sides: value, u and interval; else only the side that was tried."""
    low = found.quantile(0.025) if below else None
    high = found.quantile(0.975) if above else None
    if below and above:
        return Quantity(name, found.mean_mm, found.u_mm, low, high, "mm", part)
    missing = "tighter" if not below else "wider"
    why = f"no try was {missing} than where this begins: print {missing} ones"
    return Quantity(name, None, None, low, high, "mm", part, None, why)


def _proposal(
    first: Quantity, second: Quantity, found: Thresholds, trouble: str | None, part: Part
) -> Proposal:
    known = first.value is not None
    draw = found.best_mm(loose_counts=second.value is not None) if known else None
    now = found.turning(0.0) if known else None
    after = found.turning(draw) if draw is not None else None
    verdict, reason = _decide(first, trouble, now, draw)
    if verdict == "adjust":
        assert draw is not None and after is not None  # noqa: S101 - no verdict without them
        what = {"hole": "holes", "shaft": "shafts"}[part]
        way = "larger" if (part == "hole") == (draw > 0) else "smaller"
        reason += (
            f"; draw {what} {abs(draw):.2f} mm {way} than the part: {100 * after:.0f} of 100 turn"
        )
        if second.value is None:
            reason += " or are loose, which was not tried"
    return Proposal(
        setting="clearance",
        axis=part,
        place="making",
        in_force=None,
        proposed=draw if verdict == "adjust" else None,
        u=first.u,
        verdict=verdict,
        provisional=False,
        p_within_tolerance=now,
        p_after=after,
        reason=reason,
    )


def _decide(
    first: Quantity, trouble: str | None, now: float | None, draw: float | None
) -> tuple[Verdict, str]:
    if trouble:
        return "inspect", trouble
    if first.low95 is None or first.high95 is None or now is None or draw is None:
        return "measure_more", first.reason or ""
    width = first.high95 - first.low95
    shown = (
        f"it begins to turn at {first.value:+.3f} mm ({first.low95:+.3f} to {first.high95:+.3f})"
    )
    if width > WIDE_MM:
        return "measure_more", (
            f"{shown}, which leaves {width:.2f} mm open: print steps between "
            f"{first.low95:.2f} and {first.high95:.2f} mm"
        )
    if now >= LEAVE_AT or abs(draw) < STEP_MM / 2:
        return "leave", f"{shown}: of those drawn plainly {100 * now:.0f} of 100 turn"
    return "adjust", shown


def _budget(first: Quantity, part: Part) -> tuple[BudgetLine, ...]:
    if first.u is None:
        return ()
    line = "steps of the tries and scatter of bores"
    return (BudgetLine(f"clearance {part}", line, "A", first.u, 1.0, first.u),)
