"""The steps of which every trial is a list: shown first, then checked, then run.

A step says what will happen, to the person in words and to the machine in codes; it does
nothing itself. `bench` runs it. Stands on the machine's description alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from asleft.controller.description import MachineDescription
from asleft.errors import RefusedError


@dataclass(frozen=True)
class Step:
    """One step. `key` is unique in its trial and stays the same over restarts."""

    key: str

    def words(self) -> str:
        """What happens, in one line."""
        raise NotImplementedError

    def codes(self) -> tuple[str, ...]:
        """What the machine is commanded; empty when only the person acts."""
        return ()

    def check(self, machine: MachineDescription) -> None:
        """Refuse what the described machine may not do."""


@dataclass(frozen=True)
class ByHand(Step):
    """Something the person does or makes sure of, and confirms."""

    text: str
    cautions: tuple[str, ...] = ()
    action: str = "check"
    details: Mapping[str, Any] = field(default_factory=dict)
    count: tuple[int, int] | None = None

    def words(self) -> str:
        """The sentence that the person is shown."""
        return self.text


@dataclass(frozen=True)
class Read(Step):
    """A number that the person reads off an instrument, in `unit`."""

    text: str
    action: str
    details: Mapping[str, Any] = field(default_factory=dict)
    place: str | None = None
    unit: str = "mm"
    count: tuple[int, int] | None = None
    cautions: tuple[str, ...] = ()

    def words(self) -> str:
        """The sentence that the person is shown."""
        return self.text


@dataclass(frozen=True)
class Heat(Step):
    """Bring a nozzle to `target_c` and hold it. Done anew after an interruption."""

    tool: int
    target_c: float
    limit_c: float

    def words(self) -> str:
        """What gets hot, and how hot."""
        return f"heat nozzle {self.tool} to {self.target_c:g} °C"

    def codes(self) -> tuple[str, ...]:
        """Never a blocking wait: a stop must always find the machine listening."""
        return (f"M104 T{self.tool} S{self.target_c:g}", "M105 (asked until it is there)")

    def check(self, machine: MachineDescription) -> None:
        """The material's limit and the machine's limit both bind."""
        limit = min(self.limit_c, machine.max_nozzle_c)
        if not 0 < self.target_c <= limit:
            raise RefusedError(
                f"{self.target_c:g} °C is outside 0 to {limit:g} °C, the limit for this nozzle",
                hint="Give a temperature from the filament's label with --temperature.",
                where=self.key,
            )


@dataclass(frozen=True)
class Feed(Step):
    """Feed filament slowly. `redo_from` names the step to go back to if this is cut short."""

    length_mm: float
    rate_mm_min: float
    tool: int
    detached: bool = False
    redo_from: str = ""
    count: tuple[int, int] | None = None

    def words(self) -> str:
        """How much, how fast, how long."""
        seconds = self.length_mm / self.rate_mm_min * 60
        return (
            f"feed {self.length_mm:g} mm of filament at {self.rate_mm_min:g} mm/min"
            f" (about {seconds:.0f} s)"
        )

    def codes(self) -> tuple[str, ...]:
        """Relative feed in short pieces, each awaited."""
        return (
            "M83",
            f"G1 E… F{self.rate_mm_min:g} (pieces of at most 2 s, {self.length_mm:g} mm in all)",
            "M400 (after each piece)",
        )

    def check(self, machine: MachineDescription) -> None:
        """A feed has a length, and a rate that the machine's owner allows."""
        if not 0 < self.rate_mm_min <= machine.max_feed_rate_mm_min:
            raise RefusedError(
                f"a rate of {self.rate_mm_min:g} mm/min is outside 0 to"
                f" {machine.max_feed_rate_mm_min:g} mm/min",
                hint="100 mm are fed slowly: 50 mm/min is a good rate.",
                where=self.key,
            )
        if self.tool >= machine.tools:
            raise RefusedError(
                f"tool {self.tool} does not exist: the machine has {machine.tools}",
                hint="Name a tool from 0.",
                where=self.key,
            )


@dataclass(frozen=True)
class CoolDown(Step):
    """Heaters off, confirmed."""

    tool: int

    def words(self) -> str:
        """What is switched off."""
        return "heaters off"

    def codes(self) -> tuple[str, ...]:
        """Off for this nozzle and the bed."""
        return (f"M104 T{self.tool} S0", "M140 S0")


def listing(steps: tuple[Step, ...]) -> list[str]:
    """The steps as lines for `--list`: a number, the words, and the codes beneath."""
    lines = []
    for number, step in enumerate(steps, start=1):
        lines.append(f"{number:3d}  {step.words()}")
        lines.extend(f"       > {code}" for code in step.codes())
    return lines
