"""What the page has in hand while it is served: home, keys, workers, and the doors to the bench.

Not for any one sheet. Readers open a bench of their own for each look at the store; only a
worker's bench ever opens a line.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from asleft.bench import Ask, Bench, Person, Workplace
from asleft.errors import InputError
from asleft.page.doors import Keys
from asleft.page.jobs import Worker
from asleft.page.live import Live
from asleft.units import Typed


@dataclass(frozen=True)
class Practice:
    """A practice machine behind the page.

    `machine` is its name, `address` where it listens, `hands` who marks, prints and reads;
    `temperature_c` stands on its spool, `notes` are told on the first sheets.
    """

    machine: str
    address: str
    hands: Person
    temperature_c: float
    notes: tuple[str, ...] = ()


class Listener:
    """A person who is told and never asked: quick jobs that open no line have no question."""

    def __init__(self) -> None:
        self.told: list[str] = []

    def tell(self, text: str) -> None:
        """Keep it for the sheet."""
        self.told.append(text)

    def confirm(self, ask: Ask) -> bool:
        """Nobody is there to agree."""
        raise _nobody(ask)

    def number(self, ask: Ask) -> Typed:
        """Nobody is there to read."""
        raise _nobody(ask)

    def choose(self, ask: Ask) -> str:
        """Nobody is there to choose."""
        raise _nobody(ask)

    def progress(self, what: str, done: float, remaining_s: float | None) -> None:
        """Nothing waits here."""


def _nobody(ask: Ask) -> InputError:
    return InputError("this needs a person's answer", hint="Do it as a step.", where=ask.key)


@dataclass
class House:
    """Everything that the routes share."""

    home: Path | Workplace
    keys: Keys
    live: Live = field(default_factory=Live)
    practice: Practice | None = None
    lan: bool = False
    address: str = ""

    def __post_init__(self) -> None:
        """No worker before one is needed."""
        self._workers: dict[str, Worker] = {}
        self._lock = threading.Lock()

    @contextmanager
    def look(self, machine: str | None = None) -> Iterator[Bench]:
        """A bench to look at the store with, or to file what needs no line."""
        holder = "asleft, a page"
        with Bench(self.home, Listener(), holder=holder, machine=machine) as bench:
            yield bench

    def machines(self) -> list[dict[str, Any]]:
        """The machines described; on a practice page the practice machine alone."""
        with self.look() as bench:
            known = bench.machines()
        if self.practice is None:
            return known
        return [m for m in known if m["name"] == self.practice.machine]

    def worker(self, machine: str) -> Worker:
        """The worker of a machine, made when it is first needed.

        Raises:
            InputError: no such machine.
        """
        with self._lock:
            if machine not in self._workers:
                if machine not in [m["name"] for m in self.machines()]:
                    raise InputError(f"no machine is called {machine!r}", where="machine")
                practised = self.practice is not None and self.practice.machine == machine
                self._workers[machine] = Worker(
                    self.home,
                    machine,
                    address=self.practice.address if self.practice and practised else None,
                    holder=f"asleft, the page at {self.address}",
                    changed=self.live.changed,
                    companion=self.practice.hands if self.practice and practised else None,
                )
            return self._workers[machine]

    def at_work(self) -> list[Worker]:
        """The workers there are, by the names of their machines."""
        return [self._workers[name] for name in sorted(self._workers)]

    def stop_all(self) -> None:
        """Stop every machine now; callable from a signal handler."""
        for worker in list(self._workers.values()):
            if worker.busy:
                worker.stop()

    def leave(self) -> None:
        """Stop every machine now, then let open pages go; callable from a signal handler."""
        self.stop_all()
        self.live.end()

    def close(self) -> None:
        """Every machine safe, every line released."""
        for worker in list(self._workers.values()):
            worker.close()

    def has_line(self, machine: Mapping[str, Any]) -> bool:
        """Whether a machine can be reached over a line."""
        practised = self.practice is not None and self.practice.machine == machine["name"]
        return practised or machine.get("address") is not None
