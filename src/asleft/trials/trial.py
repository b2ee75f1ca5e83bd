"""What the bench asks of any trial: its steps, its rows, its estimate.

A trial is a description before it is an action. It can be rebuilt from the parameters that
the store keeps, it checks itself against a machine's limits as a whole, and it never moves
anything.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, Protocol

from asleft.controller.description import MachineDescription
from asleft.measure import Solution
from asleft.trials.basis import Basis
from asleft.trials.steps import Step


@dataclass(frozen=True)
class Entry:
    """One reading as a trial takes it: the number, what was measured, and the text as typed."""

    value: float
    about: Mapping[str, Any]
    raw: str = ""


def data_rows(text: str) -> list[str]:
    """The rows of a readings file as they stand in it: no comments, no header, none empty."""
    lines = [line.strip() for line in text.lstrip("\ufeff").splitlines()]
    return [line for line in lines if line and not line.startswith("#")][1:]


class Trial(Protocol):
    """A measuring procedure. `leans_on` names the trials that should come before it."""

    kind: ClassVar[str]
    needs_line: ClassVar[bool]
    resumable: ClassVar[bool]
    leans_on: ClassVar[tuple[str, ...]]

    @property
    def earlier(self) -> tuple[int, ...]:
        """Trials on the same piece whose readings count as well."""
        ...

    @property
    def parameters(self) -> dict[str, Any]:
        """JSON values from which the trial can be rebuilt."""
        ...

    @property
    def steps(self) -> tuple[Step, ...]:
        """The steps in order."""
        ...

    def spared(self, answers: Mapping[str, str]) -> frozenset[str]:
        """Keys of steps that need not be run, given the answers so far by step key."""
        ...

    def entries(self, text: str, *, name: str) -> list[Entry]:
        """Readings already taken, from the text of a readings file."""
        ...

    def solve(self, entries: Sequence[Entry], basis: Basis) -> Solution:
        """The estimate from the readings at hand."""
        ...


class AllSteps:
    """A trial that runs every step whatever was answered, and leans on no other trial."""

    leans_on: ClassVar[tuple[str, ...]] = ()

    def spared(self, answers: Mapping[str, str]) -> frozenset[str]:
        """None."""
        return frozenset()


def check(trial: Trial, machine: MachineDescription) -> None:
    """Hold every step against the machine's limits before the first one runs.

    Raises:
        RefusedError: names the step, the limit and what would be within it.
    """
    for step in trial.steps:
        step.check(machine)
