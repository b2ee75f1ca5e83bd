"""What the owner of a line is told when it is started, as data that crosses a process border.

Not for the machine's description, from which it is made. Stands on the guard's limits.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from asleft.link.guard import GuardLimits


@dataclass(frozen=True)
class OwnerConfig:
    """Where the line is, with what limits, what makes the machine stop and safe."""

    address: str
    rate_baud: int | None
    wire_log: str
    holder: str
    limits: GuardLimits
    stop_lines: tuple[str, ...] = ("M108", "M410")
    safe_lines: tuple[str, ...] = ("M104 S0", "M140 S0")
    safe_within_s: float = 40.0
    heaters_off_first: bool = False
    quiet_s: float | None = None

    def to_dict(self) -> dict[str, Any]:
        """JSON values."""
        return asdict(self)

    @classmethod
    def from_dict(cls, values: dict[str, Any]) -> OwnerConfig:
        """The inverse of `to_dict`."""
        lists = {k: tuple(values[k]) for k in ("stop_lines", "safe_lines")}
        return cls(**{**values, **lists, "limits": GuardLimits(**values["limits"])})
