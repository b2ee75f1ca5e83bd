"""One laptop of the workshop as a process of its own, entering readings until it is told to end.

Every reading that was promised to the person is written down a pipe, so that the promise outlives
the laptop. A reading's key counts, so that order and doubles are seen in the store alone.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import time
from collections.abc import Iterable
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path

from asleft.errors import LineError, StoreError
from asleft.record import ReadingRow, Store, Workplace
from asleft.record.sharing.leases import Lease
from asleft.record.sharing.store import SharedStore

HANDS_S = 0.01  # nobody is quicker, and the others want to run too
WANTED = "the machine that all want"
FORK = multiprocessing.get_context("fork")


def begin(store: Store, machine: str) -> int:
    """A trial of a machine of this name; its number."""
    number = store.add_machine({"name": machine})
    calibration = store.open_calibration(number, versions={}, person=None, conditions={})
    return store.start_trial(
        calibration, "feed", parameters={}, steps=[], kept_id=None, instrument={}, making={}
    )


def enter(store: Store, trial: int, number: int) -> None:
    """One reading with its step, as a trial enters it; every fifth is first taken back."""
    key = f"feed.{number}"
    told = {"key": key, "place": {"n": number}, "value": float(number), "raw": str(number)}
    store.mark_step(trial, key, "started")
    if number % 5 == 0:
        store.add_reading(trial, **told)
        store.void_reading(_standing(store.readings(trial), key).id, "read from the wrong side")
    store.add_reading(trial, **told, done={})


def _standing(readings: Iterable[ReadingRow], key: str) -> ReadingRow:
    return next(row for row in readings if row.key == key and not row.voided)


@dataclass
class Laptop:
    """A laptop with a home of its own and one trial, run in a process."""

    home: Path
    url: str
    name: str
    trial: int = 0
    promised: list[int] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    held: bool = False

    def start(self, most: int | None = None) -> None:
        """Start the program: it goes on with its trial, to so many readings or until told."""
        self._stop, self.ready = FORK.Event(), FORK.Event()
        mine, its = FORK.Pipe(duplex=False)
        self._pipe: Connection = mine
        self._process = FORK.Process(target=self._run, args=(its, most))
        self._process.start()
        its.close()

    def _run(self, pipe: Connection, most: int | None) -> None:
        place = Workplace(self.home, self.url, f"the person at {self.name}")
        with Store.at(place) as store:
            assert isinstance(store, SharedStore)
            store.tell_to(lambda text: pipe.send(("told", text)))
            trial = self.trial or begin(store, self.name)
            pipe.send(("trial", trial))
            store.add_instrument({"name": "the workshop's caliper"})
            pipe.send(("held", self._held(store)))
            number = max((int(row.raw) for row in store.readings(trial)), default=0)
            self.ready.set()
            while not self._stop.is_set() and (most is None or number < most):
                number += 1
                enter(store, trial, number)
                pipe.send(("promised", number))
                time.sleep(HANDS_S)
            self._deliver(store, trial)

    def _held(self, store: SharedStore) -> bool:
        """Whether the one machine that all want is this laptop's."""
        wanted = store.add_machine({"name": WANTED})
        lease = Lease(self.name, wanted, self.name, store.person, "the campaign")
        try:
            store.take_lease(lease, lease_s=600.0)
        except LineError:
            return False
        return True

    def _deliver(self, store: Store, trial: int) -> None:
        """Wait until the store is back; it is asked something that no laptop can answer."""
        while True:
            try:
                store.trial(trial)
                return
            except StoreError:
                time.sleep(0.05)

    @property
    def behind(self) -> bool:
        """Whether something waits on it at this moment."""
        return any(p.stat().st_size for p in (self.home / "outbox").glob("trial-*.jsonl"))

    def kill(self) -> None:
        """As a battery that falls out."""
        assert self._process.pid is not None
        os.kill(self._process.pid, signal.SIGKILL)
        self.listen()

    def tell_to_end(self) -> None:
        """After the reading in hand."""
        self._stop.set()

    def listen(self) -> int:
        """Everything it said up to its end; its exit status."""
        try:
            while True:
                self._hear(*self._pipe.recv())
        except EOFError:
            pass
        self._process.join()
        return int(self._process.exitcode or 0)

    def hear(self) -> None:
        """What it said so far."""
        try:
            while self._pipe.poll():
                self._hear(*self._pipe.recv())
        except EOFError:
            pass

    def _hear(self, what: str, value: object) -> None:
        if what == "trial":
            self.trial = int(str(value))
        elif what == "held":
            self.held = bool(value)
        elif what == "promised":
            self.promised.append(int(str(value)))
        else:
            self.told.append(str(value))
