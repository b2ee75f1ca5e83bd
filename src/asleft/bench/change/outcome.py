"""What one change or proof came to, as it goes: the JSON of `asleft.set/1` and its kin.

A sheet that `sending` and `proving` fill in; it judges nothing and sends nothing. None means not
asked or not known. Stands on nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

Command = Literal["set", "undo", "restore", "prove"]


@dataclass
class Outcome:
    """One change or proof. Values are by the names of the command line (`X`, `E`, `XY`)."""

    command: Command
    before: dict[str, float] = field(default_factory=dict)
    sent: list[str] = field(default_factory=list)
    read_back: dict[str, float] = field(default_factory=dict)
    verified: bool | None = None
    stored: bool | None = None
    from_storage: dict[str, float] | None = None
    survived_power_cycle: bool | None = None
    by_hand: list[str] = field(default_factory=list)
    handed_over: bool = False
    predicted: list[dict[str, Any]] = field(default_factory=list)
    chi2: float | None = None
    dof: int | None = None
    p: float | None = None
    reason: str | None = None
    kept_before: int | None = None
    kept_after: int | None = None
    warnings: list[str] = field(default_factory=list)

    def to_dict(self) -> dict[str, Any]:
        """JSON values."""
        values = dict(vars(self))
        return {"schema": f"asleft.{values.pop('command')}/1", **values}
