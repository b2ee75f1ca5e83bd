"""A bench at a real practice machine, with the simulated person or one that follows a script."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from asleft.bench import Ask, Bench
from asleft.cli.practice_person import PracticePerson
from asleft.errors import Stopped
from asleft.practice.hands import Hands
from asleft.units import Typed

OPTIONS = {"temperature_c": 205.0}


@dataclass
class Interrupted:
    """Wraps a person; is gone at the question whose key is given, as if the program was killed."""

    person: PracticePerson
    gone_at: str | None = None
    asked: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    def tell(self, text: str) -> None:
        self.told.append(text)

    def confirm(self, ask: Ask) -> bool:
        self._leave(ask)
        return self.person.confirm(ask)

    def number(self, ask: Ask) -> Typed:
        self._leave(ask)
        return self.person.number(ask)

    def choose(self, ask: Ask) -> str:
        self._leave(ask)
        return self.person.choose(ask)

    def progress(self, what: str, done: float, remaining_s: float | None) -> None:
        pass

    def _leave(self, ask: Ask) -> None:
        if ask.key == self.gone_at:
            raise Stopped("gone", where=ask.key)
        self.asked.append(ask.key)


def nothing(*_: Any) -> None:
    """Whoever is told needs not listen."""


@pytest.fixture
def hands() -> Iterator[Hands]:
    with Hands(7, speed=1000) as machine:
        yield machine


@pytest.fixture
def sit_down(hands: Hands, tmp_path: Path) -> Callable[..., Any]:
    """Open a bench at the machine; the same home each time, as the next program would."""

    @contextmanager
    def open_bench(gone_at: str | None = None) -> Iterator[tuple[Bench, Interrupted]]:
        person = Interrupted(PracticePerson(hands, say=nothing, progress=nothing), gone_at)
        with Bench(
            tmp_path, person, holder="a test", machine="workbench", address=hands.address
        ) as bench:
            bench.describe_machine({"name": "workbench", "travel_mm": [220, 220, 240]})
            yield bench, person

    return open_bench
