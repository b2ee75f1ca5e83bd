"""What the store hands out: small frozen rows, each a plain copy of what was kept.

No database type leaves the store. Times are ISO 8601 text in UTC; numbers have their unit
beside them or in their name. An unknown is None.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any


@dataclass(frozen=True)
class Row:
    """What every row has: its number, when it was written, and by whom where that is known."""

    id: int
    at: str
    person: str | None = field(default=None, kw_only=True)

    def to_dict(self) -> dict[str, Any]:
        """JSON values."""
        return asdict(self)


@dataclass(frozen=True)
class MachineRow(Row):
    """A machine with its latest description and the fingerprints it gave, oldest first."""

    name: str
    description: dict[str, Any]
    fingerprints: tuple[str, ...] = ()


@dataclass(frozen=True)
class InstrumentRow(Row):
    """An instrument with its latest description and all its checks, oldest first."""

    name: str
    description: dict[str, Any]
    checks: tuple[dict[str, Any], ...] = ()


@dataclass(frozen=True)
class KeptRow(Row):
    """One complete settings report, raw and parsed, and why and in which standing it was kept."""

    machine_id: int
    calibration_id: int | None
    raw: str
    parsed: dict[str, Any]
    reason: str
    standing: str


@dataclass(frozen=True)
class CalibrationRow(Row):
    """One machine's work from first kept state to record; open while `closed_at` is None."""

    machine_id: int
    versions: dict[str, Any]
    conditions: dict[str, Any]
    closed_at: str | None = None
    close_reason: str | None = None


@dataclass(frozen=True)
class ConditionRow(Row):
    """What was said of the conditions of a calibration at one time."""

    calibration_id: int
    details: dict[str, Any]


@dataclass(frozen=True)
class TrialRow(Row):
    """One trial; its outcome is `unfinished` until an end was written."""

    calibration_id: int
    kind: str
    parameters: dict[str, Any]
    steps: list[Any]
    kept_id: int | None
    instrument: dict[str, Any]
    making: dict[str, Any]
    outcome: str = "unfinished"
    reason: str | None = None
    result: dict[str, Any] | None = None
    ended_at: str | None = None


@dataclass(frozen=True)
class StepRow(Row):
    """One mark on a step of a trial: started, done or void. The latest of a key counts."""

    trial_id: int
    key: str
    state: str
    details: dict[str, Any]


@dataclass(frozen=True)
class ReadingRow(Row):
    """One reading: value in `unit`, raw text as typed; void when `void_reason` is given."""

    trial_id: int
    key: str
    take: int
    place: dict[str, Any]
    value: float
    raw: str
    unit: str
    void_reason: str | None = None

    @property
    def voided(self) -> bool:
        """Whether it was taken back."""
        return self.void_reason is not None


@dataclass(frozen=True)
class ProposalRow(Row):
    """One proposed setting; `details` is the solver's proposal as it was."""

    trial_id: int
    setting: str
    axis: str
    details: dict[str, Any]
    withdrawn: str | None = None


@dataclass(frozen=True)
class MarkRow(Row):
    """One thing that happened to a change, such as `read_back`, with the lines that show it."""

    change_id: int
    state: str
    details: dict[str, Any]


@dataclass(frozen=True)
class ChangeRow(Row):
    """One change and its marks, oldest first. `kept_before` is the state that it started from."""

    calibration_id: int
    kind: str
    settings: list[dict[str, Any]]
    proposal_ids: list[int]
    kept_before: int | None
    marks: tuple[MarkRow, ...] = ()

    @property
    def state(self) -> str:
        """The latest mark; `started` while there is none."""
        return self.marks[-1].state if self.marks else "started"

    @property
    def stands(self) -> bool:
        """Whether it is believed to be on the machine, or handed over to be put there."""
        if self.state in ("failed", "undone", "started"):
            return False
        told = {mark.state: mark.details for mark in self.marks}
        if not told.get("power_cycled", {}).get("survived", True):
            return False
        read_back = told.get("read_back")
        return "handed_over" in told or (
            read_back is not None and read_back.get("verified", True) is not False
        )


@dataclass(frozen=True)
class PredictionRow(Row):
    """What the second piece was said to measure, before it was measured."""

    calibration_id: int
    trial_id: int
    details: dict[str, Any]


@dataclass(frozen=True)
class EventRow(Row):
    """Something that happened to a machine."""

    machine_id: int
    kind: str
    text: str


@dataclass(frozen=True)
class WireLogRow(Row):
    """Where on the wire log a stretch of work stands; lines count from 1, both included."""

    machine_id: int
    calibration_id: int | None
    path: str
    first_line: int
    last_line: int
