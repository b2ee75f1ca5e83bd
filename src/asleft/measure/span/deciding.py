"""What the proposals of a span trial are made from, and the one for steps per mm.

The evidence of the fit goes to `verdict` here, for steps, skew and arms alike. Which axes share
their motors is `span_drives`' business.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from asleft.measure.instrument import Instrument
from asleft.measure.result import Proposal
from asleft.measure.span.budget import budget_of, by_readings_u
from asleft.measure.span.fit import SpanFit
from asleft.measure.span.parts import AxisParts, Estimate, Parts, Wishes
from asleft.measure.tolerance import Tolerance
from asleft.measure.verdict import Evidence, Judgement, judge, proposal_of

PLAUSIBLE_SCALE = 0.03  # a belt or screw further off than this is not what it was taken for
REMEDIES = {
    "scale of the caliper": "check the caliper on a known length of 100 mm or more",
    "temperature of the piece": "let the piece cool for longer and read it beside the caliper",
    "posts bending under the jaws": "use the lightest even force",
    "first layer, before any reading": "read steps against each other, not from the bed face",
    "growth, before any reading": "read inside faces as well as outside ones",
}


@dataclass(frozen=True)
class Deciding:
    """All that proposals are made from."""

    fit: SpanFit
    parts: Parts
    wishes: Wishes
    skew: Mapping[str, float] | None
    tolerance: Tolerance
    instrument: Instrument
    readings: int

    def trouble(self, letters: str) -> str | None:
        """A contradiction among readings along this axis, or on this plane's diagonals."""
        for group in self.fit.misreads.unlocated:
            along = {self.fit.directions[i].rstrip("+-") for i in group}
            if letters in along:
                rows = ", ".join(str(i + 1) for i in group)
                return f"rows {rows} contradict each other: measure these places again"
        return None

    def _along(self, letters: str, unit: str) -> tuple[int, str]:
        """How many readings tell of an axis or a plane's diagonals (at least 1), and in words."""
        if unit == "mm":
            return self.readings, ""
        ways = (letters, f"{letters}+", f"{letters}-")
        count = sum(self.fit.directions.count(way) for way in ways)
        words = f" along {letters}" if len(letters) == 1 else f" on the diagonals of {letters}"
        return max(count, 1), words

    def decide(
        self, found: Estimate, tolerance: float, letters: str, plausible: float, unit: str
    ) -> Judgement:
        """The verdict on one estimate."""
        lines = budget_of(self.fit, found.row, "")
        largest = lines[0].input
        by_reading, by_place = by_readings_u(self.fit, found.row)
        readings, along = self._along(letters, unit)
        return judge(
            Evidence(
                error=found.value,
                u=found.u,
                dof=found.dof,
                tolerance=tolerance,
                u_readings=by_reading,
                u_places=by_place,
                readings=readings,
                along=along,
                largest=f"the {largest}",
                remedy=REMEDIES.get(largest, "print a longer piece, or read more of its faces"),
                plausible=plausible,
                trouble=self.trouble(letters),
                unit=unit,
            )
        )


def steps_alone(deciding: Deciding, a: AxisParts) -> Proposal:
    """One axis with a motor of its own."""
    judged = deciding.decide(a.steps, deciding.tolerance.scale, a.axis, PLAUSIBLE_SCALE, "%")
    return steps_proposal(deciding, a.axis, a.steps, judged)


def steps_proposal(
    deciding: Deciding,
    axis: str,
    found: Estimate,
    judged: Judgement,
    *,
    base: float | None = None,
) -> Proposal:
    """Steps per mm for one axis; `base` is the value to correct where motors share one."""
    in_force = deciding.wishes.in_force.get(axis)
    reason = judged.reason
    if in_force is None:
        reason += "; steps per mm in force are unknown, so no value is proposed"
        proposed = None
    else:
        proposed = (in_force if base is None else base) / (1 + found.value)
    if deciding.parts.shrinkage is None and judged.verdict == "adjust":
        reason += "; shrinkage is unknown, so steps make this plastic come out right"
    design = (deciding.wishes.geometry or {}).get(axis)
    if design is not None and proposed is not None:
        reason += f"; the drive's design gives {design:g}, {proposed / design - 1:+.2%} away"
    return proposal_of(
        judged,
        setting="steps_per_mm",
        axis=axis,
        place="controller",
        in_force=in_force,
        proposed=proposed,
        u=None if proposed is None else proposed * found.u / (1 + found.value),
        reason=reason,
    )
