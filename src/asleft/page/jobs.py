"""One machine's worker: a thread with a bench that runs one job at a time.

Not for deciding what a job is; that is `bench`. A job that was cut short by a killed server or
by a stop goes on from what the store and `memory` hold, at one press.
"""

from __future__ import annotations

import contextlib
import logging
import os
import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from asleft.bench import Bench, Person, Workplace
from asleft.errors import AsleftError, BugError, RefusedError, Stopped
from asleft.page.memory import Doing, Memory
from asleft.page.person import Fate, PagePerson

if TYPE_CHECKING:
    from asleft.bench import Warming

IDLE_S = 600.0  # how long a line is held between two jobs
LEAVE_S = 15.0  # the line's own way out takes a few seconds; longer than that is a fault

LOG = logging.getLogger(__name__)


class Worker:
    """Runs the jobs of one machine.

    Args:
        home: the store's folder.
        machine: its name.
        address: where it is, where that is not in its description.
        changed: told of every change (see `PagePerson`).
        companion: the simulated hands of a practice machine, or None.
    """

    def __init__(
        self,
        home: Path | Workplace,
        machine: str,
        *,
        address: str | None,
        holder: str,
        changed: Callable[[bool], None],
        companion: Person | None,
    ) -> None:
        self.machine = machine
        self.person = PagePerson(changed, companion)
        self.person.took_back = self._took_back
        self._home, self._address, self._holder = home, address, holder
        self._changed = changed
        self._memory = Memory(Workplace.of(home).folder, machine)
        self.doing = self._memory.load()
        if self.doing.state == "running":
            self.doing.state = "stopped"
            self.doing.error = _INTERRUPTED
        self._lock = threading.Lock()
        self._wish = threading.Condition(self._lock)
        self._wanted = False
        self._ending = False
        self._serving = False
        self._bench: Bench | None = None
        self._thread: threading.Thread | None = None

    @property
    def busy(self) -> bool:
        """Whether a job is on."""
        return self.doing.state == "running"

    @property
    def warming(self) -> Warming | None:
        """The wait for a heater that is on, or None."""
        bench = self._bench
        return None if bench is None else bench.warming

    def start(self, job: str, options: Mapping[str, Any]) -> None:
        """Begin a job.

        Raises:
            RefusedError: another one is on.
        """
        with self._lock:
            if self.busy or self._ending:
                raise RefusedError(
                    "something is being done at this machine already",
                    hint="Finish it, or stop it first.",
                    where=self.machine,
                )
            self.doing = Doing(self.doing.number + 1, job, dict(options), state="running")
            self._go()

    def resume(self) -> None:
        """Go on with the job that was stopped or cut short; does nothing where there is none."""
        with self._lock:
            if self.doing.state not in ("stopped", "failed") or self._ending:
                return
            self.doing.state, self.doing.error = "running", None
            self._go()

    def leave(self) -> None:
        """Let go of a job that was cut short; what it read is kept."""
        with self._lock:
            if not self.busy:
                self.doing = Doing(self.doing.number)
                self._memory.save(self.doing)
        self._changed(False)

    def answer(self, key: str, form: Mapping[str, str]) -> Fate:
        """Hand in an answer; one for a step of before a restart is held, and goes on with it."""
        fate = self.person.answer(key, form)
        cut_short = self.doing.error is _INTERRUPTED
        if fate == "stale" and cut_short and key.startswith(f"{self.doing.number}."):
            self.person.hold(key, form)
            self.resume()
            return "held"
        return fate

    def stop(self) -> None:
        """Stop now: the line first, then whoever waits. Callable from any thread or signal."""
        bench = self._bench
        try:
            if bench is not None:
                bench.stop_now()
        finally:
            self.person.stop()

    def release(self) -> None:
        """Give the line up where no job is on."""
        with self._lock:
            if not self.busy:
                self._ending = True
                self._wish.notify_all()
        if self._ending:
            self._join()
            self._ending = False

    def close(self) -> None:
        """Stop whatever is on and wait until the machine is safe and the line released."""
        with self._lock:
            self._ending = True
            self._wish.notify_all()
        if self.busy:
            self.stop()
        self._join()

    def _join(self) -> None:
        if self._thread is not None:
            self._thread.join(LEAVE_S)

    def _go(self) -> None:
        """Hand the job to the thread, which is begun where there is none."""
        self._memory.save(self.doing)
        self.person.begin(self.doing.prefix, fresh=True)
        self._wanted = True
        if not self._serving:
            self._serving = True
            name = f"bench of {self.machine}"
            self._thread = threading.Thread(target=self._serve, name=name, daemon=True)
            self._thread.start()
        self._wish.notify_all()
        self._changed(False)

    def _serve(self) -> None:
        """The thread: job after job on one bench, until none came for a while."""
        while self._next():
            try:
                with self._open() as bench:
                    self._bench = bench
                    self._run(bench)
                    while self._next(IDLE_S):
                        self._run(bench)
            except AsleftError as error:  # the way out: store or line would not close
                self._end("failed", error)
            except Exception as fault:
                LOG.exception("the page's own fault")
                self._end("failed", BugError(str(fault)))
            finally:
                self._bench = None
                self._changed(False)

    def _next(self, timeout_s: float = 0.0) -> bool:
        """Whether there is a job to run, waiting for one as long as said."""
        with self._lock:
            if not self._wanted and not self._ending and timeout_s:
                self._wish.wait_for(lambda: self._wanted or self._ending, timeout_s)
            wanted, self._wanted = self._wanted and not self._ending, False
            if not wanted and not timeout_s:
                self._serving = False  # under the lock: whoever wishes next begins a new thread
            return wanted

    def _open(self) -> Bench:
        return Bench(
            self._home,
            self.person,
            holder=f"{self._holder} (process {os.getpid()})",
            machine=self.machine,
            address=self._address,
        )

    def _run(self, bench: Bench) -> None:
        """One job, whatever becomes of it."""
        from asleft.page.doing import JOBS

        try:
            JOBS[self.doing.job](bench, self.doing.options, self)
        except Stopped as stop:
            self._end("stopped", stop)
        except AsleftError as error:
            self._end("failed", error)
        except Exception as fault:
            LOG.exception("the page's own fault")
            self._end("failed", BugError(str(fault) or type(fault).__name__))
        else:
            self._end("done", None)

    def began(self, part: str) -> None:
        """A part of the job begins; its steps carry its name."""
        self.doing.part = part
        self._memory.save(self.doing)
        self.person.begin(self.doing.prefix, fresh=False)
        self._changed(False)

    def ended(self, part: str, told: dict[str, Any]) -> None:
        """A part is done, and what it came to."""
        self.doing.done[part] = told
        self._memory.save(self.doing)
        self._changed(False)

    def _took_back(self) -> None:
        self.doing.takes += 1
        self._memory.save(self.doing)
        self.person.begin(self.doing.prefix, fresh=False)

    def _end(self, state: Any, error: AsleftError | None) -> None:
        with self._lock:  # whoever sees that it ended may begin the next job at once
            self.doing.state = state
            self.doing.error = None if error is None else error.to_dict()
            self.person.wait = None
            with contextlib.suppress(OSError):  # a full disk is told by the store already
                self._memory.save(self.doing)
        self._changed(False)


_INTERRUPTED = {
    "kind": "stopped",
    "message": "the program was ended while this was on",
    "hint": "Look at the machine, then go on; what was read is kept.",
    "where": None,
}
