"""One person asked by several machines at once: each machine's end of it, a `Person`.

A machine's thread puts its question and waits; whoever sits with the person answers in turn (see
`several`). Nothing is answered here, and no machine is known.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from asleft.bench.person import Ask
from asleft.units import Typed

How = Literal["confirm", "number", "choose"]


class Later(Exception):  # noqa: N818 - a wish of the person, not a fault
    """The person wants to answer the other machines' questions first: this one is busy."""


@dataclass(frozen=True)
class Question:
    """One question of one machine, and where its answer goes."""

    machine: str
    how: How
    ask: Ask
    answer: Future[Any] = field(default_factory=Future)


@dataclass(frozen=True)
class Said:
    """Something to tell, which needs no answer."""

    machine: str
    text: str


@dataclass(frozen=True)
class Waits:
    """How far a wait of one machine has come; `done` 1 ends it."""

    machine: str
    what: str
    done: float
    remaining_s: float | None


@dataclass(frozen=True)
class Left:
    """A machine's work is over, however it ended."""

    machine: str


Message = Question | Said | Waits | Left


class Seat:
    """The person as one machine sees them.

    Args:
        machine: its name, which stands before everything it says.
        put: hands a message on; raises whatever ended the evening, once it is over.
    """

    def __init__(self, machine: str, put: Callable[[Message], None]) -> None:
        self._machine = machine
        self._put = put

    def tell(self, text: str) -> None:
        """Say something that needs no answer."""
        self._put(Said(self._machine, text))

    def confirm(self, ask: Ask) -> bool:
        """A question with yes or no."""
        return bool(self._answer("confirm", ask))

    def number(self, ask: Ask) -> Typed:
        """A number off an instrument."""
        typed: Typed = self._answer("number", ask)
        return typed

    def choose(self, ask: Ask) -> str:
        """One of the choices."""
        return str(self._answer("choose", ask))

    def progress(self, what: str, done: float, remaining_s: float | None) -> None:
        """How far a wait has come."""
        self._put(Waits(self._machine, what, done, remaining_s))

    def _answer(self, how: How, ask: Ask) -> Any:
        details = {**ask.details, "machine": self._machine}
        named = replace(ask, text=f"At {self._machine}: {ask.text}", details=details)
        question = Question(self._machine, how, named)
        self._put(question)
        return question.answer.result()
