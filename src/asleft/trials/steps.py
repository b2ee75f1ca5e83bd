"""The steps of which every trial is a list: shown first, then checked, then run.

A step says what will happen, to the person in words and to the machine in codes; it does
nothing itself. `bench` runs it. Stands on the machine's description alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from asleft.controller import (
    MachineDescription,
    check_feed,
    check_target,
    cool_codes,
    feed_codes,
    heat_codes,
)
from asleft.errors import RefusedError


@dataclass(frozen=True)
class Step:
    """One step. `key` is unique in its trial and stays the same over restarts."""

    key: str

    def words(self) -> str:
        """What happens, in one line."""
        raise NotImplementedError

    def codes(self, machine: MachineDescription) -> list[str]:
        """What the described machine is commanded; empty when only the person acts."""
        return []

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
class Choose(Step):
    """A question that the person answers with one of `choices`, as (value, text) pairs.

    With `value` the answer is a reading: the word is kept beside this number, in `unit`.
    Without, it only says how the trial goes on.
    """

    text: str
    choices: tuple[tuple[str, str], ...]
    action: str = "check"
    details: Mapping[str, Any] = field(default_factory=dict)
    place: str | None = None
    unit: str = "mm"
    count: tuple[int, int] | None = None
    cautions: tuple[str, ...] = ()
    value: float | None = None

    def words(self) -> str:
        """The sentence that the person is shown, and what may be answered."""
        return f"{self.text} ({', '.join(value for value, _ in self.choices)})"


@dataclass(frozen=True)
class Heat(Step):
    """Bring a nozzle to `target_c` and hold it. Done anew after an interruption."""

    tool: int
    target_c: float
    limit_c: float

    def words(self) -> str:
        """What gets hot, and how hot."""
        return f"heat nozzle {self.tool} to {self.target_c:g} °C"

    def codes(self, machine: MachineDescription) -> list[str]:
        """Never a blocking wait: a stop must always find the machine listening."""
        codes = heat_codes(self.tool, self.target_c, machine.tools)
        return [*codes, "M105 (asked until it is there)"]

    def check(self, machine: MachineDescription) -> None:
        """The material's limit and the machine's limit both bind."""
        check_target(
            self.target_c, self.tool, machine, material_limit_c=self.limit_c, where="--temperature"
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

    def codes(self, machine: MachineDescription) -> list[str]:
        """The first piece and its end, how many such pieces there are, and what stands around."""
        codes = feed_codes(
            self.length_mm, self.rate_mm_min, self.tool, machine.tools, self.detached
        )
        feeds = [at for at, code in enumerate(codes) if code.startswith("G1 ")]
        head, behind = codes[: feeds[0] + 2], codes[feeds[-1] + 2 :]
        around = "M220, M221 at 100 %, M200 off (put back afterwards)"
        rest = f"({len(feeds)} such pieces, {self.length_mm:g} mm in all)"
        return [around, *head, rest, *behind]

    def check(self, machine: MachineDescription) -> None:
        """A feed has a length, and a rate that the machine's owner allows."""
        check_feed(self.length_mm, self.rate_mm_min, self.tool, machine)


@dataclass(frozen=True)
class Home(Step):
    """Find the end stops of every axis. Done anew after an interruption."""

    def words(self) -> str:
        """What moves."""
        return "home all axes"

    def codes(self, machine: MachineDescription) -> list[str]:
        """All of them, since only a homed machine knows where its travel ends."""
        return ["G28", "M400"]


@dataclass(frozen=True)
class Move(Step):
    """Move one axis to a place inside the stated travel, and wait until it stands."""

    axis: str
    target_mm: float
    rate_mm_min: float

    def words(self) -> str:
        """Where to."""
        return f"move {self.axis} to {self.target_mm:g} mm"

    def codes(self, machine: MachineDescription) -> list[str]:
        """In pieces of at most two seconds, each awaited."""
        return ["G90", f"G1 {self.axis}{self.target_mm:g} F{self.rate_mm_min:g}", "M400"]

    def check(self, machine: MachineDescription) -> None:
        """The place lies inside the travel; a round bed counts from its middle."""
        size = machine.travel_mm["XYZ".index(self.axis)]
        centred = machine.bed_shape == "round" and self.axis != "Z"
        low, high = (-size / 2, size / 2) if centred else (0.0, size)
        if not low <= self.target_mm <= high:
            raise RefusedError(
                f"{self.axis} to {self.target_mm:g} mm is outside the travel of {low:g} to"
                f" {high:g} mm",
                hint="Choose --start and --span so that 2 mm stay free at both ends.",
                where=self.key,
            )


@dataclass(frozen=True)
class CoolDown(Step):
    """Heaters off, confirmed."""

    def words(self) -> str:
        """What is switched off."""
        return "heaters off"

    def codes(self, machine: MachineDescription) -> list[str]:
        """Off for every nozzle and the bed."""
        return cool_codes(machine.tools)


def listing(steps: tuple[Step, ...], machine: MachineDescription) -> list[str]:
    """The steps as lines for `--list`: a number, the words, and the codes beneath.

    A place is named by its number on the drawing, as in the prompt.
    """
    lines = []
    for number, step in enumerate(steps, start=1):
        place = step.place if isinstance(step, (Read, Choose)) else None
        named = f"Place {place}: {step.words()}" if place else step.words()
        lines.append(f"{number:3d}  {named}")
        lines.extend(f"       > {code}" for code in step.codes(machine))
    return lines
