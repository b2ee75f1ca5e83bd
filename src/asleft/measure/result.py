"""What every solver returns: quantities, proposals, budget, what was set aside.

The shapes are those of the JSON schema `asleft.solve/1`; `to_dict()` gives exactly that.
An unknown value or uncertainty is None with a reason beside it, never 0.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any, Literal

Verdict = Literal["leave", "adjust", "inspect", "measure_more"]


@dataclass(frozen=True)
class Quantity:
    """One estimated quantity with its standard uncertainty and 95 % interval.

    `axis` names an axis or tool (`X`, `E`), `plane` a plane (`XY`); one of them is None.
    """

    name: str
    value: float | None
    u: float | None
    low95: float | None
    high95: float | None
    unit: str
    axis: str | None = None
    plane: str | None = None
    reason: str | None = None


@dataclass(frozen=True)
class Proposal:
    """One setting: in force when the readings were made, proposed, and the verdict."""

    setting: str
    axis: str
    place: Literal["controller", "making"]
    in_force: float | None
    proposed: float | None
    u: float | None
    verdict: Verdict
    provisional: bool
    p_within_tolerance: float | None
    p_after: float | None
    reason: str


@dataclass(frozen=True)
class BudgetLine:
    """One line of the uncertainty budget of one quantity, in the terms of JCGM 100."""

    quantity: str
    input: str
    kind: Literal["A", "B"]
    u: float
    sensitivity: float
    contribution: float


@dataclass(frozen=True)
class SetAside:
    """A reading that the estimate does not use, and why.

    `row` counts from 1 over all the readings together, also those of a trial that went before;
    `place` is where it was read, where that was said.
    """

    row: int
    reading_mm: float
    why: str
    place: str | None = None


@dataclass(frozen=True)
class Solution:
    """Everything a solver says about one set of readings."""

    trial: str
    quantities: tuple[Quantity, ...]
    proposals: tuple[Proposal, ...]
    budget: tuple[BudgetLine, ...]
    set_aside: tuple[SetAside, ...] = ()
    warnings: tuple[str, ...] = field(default=())

    def to_dict(self) -> dict[str, Any]:
        """The result as JSON values (one object of `results` in `asleft.solve/1`, less `file`)."""
        return asdict(self)
