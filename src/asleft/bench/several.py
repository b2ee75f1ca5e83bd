"""Several machines in one evening, for one person with one caliper.

Each machine has its own bench, line and thread; the person is asked one question at a time, in the
thread that called. A machine that waits for heat or feeds gives the person to the next one. One
stop stops all; one machine's fault is its own. Holds no job: it is told which.
"""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from asleft.bench.person import Person, TakeBack
from asleft.bench.seat import Later, Left, Message, Question, Said, Seat, Waits
from asleft.bench.workshop import Bench
from asleft.controller import connect
from asleft.errors import AsleftError, BugError, InputError, Stopped

if TYPE_CHECKING:
    from pathlib import Path

    from asleft.controller import Machine
    from asleft.record import Workplace

Job = Callable[[Bench], dict[str, Any]]
LOOK_S = 0.5  # where a signal cannot wake a waiting thread, it is seen so much later at most
LOG = logging.getLogger(__name__)


@dataclass
class At:
    """One machine of the evening: its name, and what became of it."""

    machine: str
    told: dict[str, Any] | None = None
    error: AsleftError | None = None

    def to_dict(self) -> dict[str, Any]:
        """As in `asleft.several/1`."""
        error = None if self.error is None else self.error.to_dict()
        return {"machine": self.machine, "told": self.told, "error": error}


class Several:
    """The same job at several machines at once.

    Args:
        home: the folder of store, wire logs and reports; a workplace where the store is shared.
        person: whoever answers; called in the thread of `run` alone. May raise `Later`.
        machines: names of described machines, each with an address.
        holder: how a second program is told who holds a line.
        clock: the time now in UTC.
        open_machine: opens a described machine, as `asleft.controller.connect` does.

    Raises:
        InputError: a machine is named twice.
    """

    def __init__(
        self,
        home: Path | Workplace,
        person: Person,
        machines: Sequence[str],
        *,
        holder: str,
        clock: Callable[[], datetime] = lambda: datetime.now(UTC),
        open_machine: Callable[..., Machine] = connect,
    ) -> None:
        if len(set(machines)) != len(machines):
            raise InputError("a machine is named twice", hint="Name each once.", where="--machine")
        self._home, self._person, self._holder = home, person, holder
        self._clock, self._open_machine = clock, open_machine
        self._all = [At(name) for name in machines]
        self._messages: queue.SimpleQueue[Message] = queue.SimpleQueue()
        self._waiting: list[Question] = []
        self._busy: dict[str, Waits] = {}  # machines that wait for heat or feed
        self._turn: str | None = None  # the machine that the person is at
        self._lock = threading.Lock()
        self._asked: list[Question] = []
        self._benches: dict[str, Bench] = {}
        self._over: AsleftError | None = None  # what ended it for all

    def run(self, job: Job) -> list[At]:
        """Do the job at every machine; each is safe and its line released at the end.

        Raises:
            KeyboardInterrupt, Stopped: one stop stopped all; nothing read is lost.
        """
        threads = [
            threading.Thread(target=self._work, args=(at, job), name=at.machine, daemon=True)
            for at in self._all
        ]
        at_work = {at.machine for at in self._all}
        for thread in threads:
            thread.start()
        try:
            while at_work:
                question = self._next()
                if question is not None:
                    self._put_to_person(question)
                elif (message := self._heard()) is not None:
                    self._heed(message)
                    at_work -= {message.machine} if isinstance(message, Left) else set()
        except BaseException as error:  # whoever stops, or is gone, stops all
            self._end(error if isinstance(error, AsleftError) else Stopped("stopped"))
            raise
        finally:
            for thread in threads:
                thread.join()
        return self._all

    def stop_now(self) -> None:
        """Stop all machines and heaters off; callable from a signal handler.

        Raises:
            LineError: one of them could not be told; the others were.
        """
        self._over = self._over or Stopped("stopped")
        failed: AsleftError | None = None
        for bench in list(self._benches.values()):
            try:
                bench.stop_now()
            except AsleftError as error:
                failed = error
        if failed is not None:
            raise failed

    def _work(self, at: At, job: Job) -> None:
        """One machine's thread, from its line opened to its line released."""
        try:
            with Bench(
                self._home,
                Seat(at.machine, self._put),
                holder=self._holder,
                machine=at.machine,
                clock=self._clock,
                open_machine=self._open_machine,
            ) as bench:
                self._benches[at.machine] = bench
                if self._over is None:  # else the stop came before it could be reached
                    at.told = job(bench)
        except AsleftError as error:
            at.error = error
        except Exception as fault:
            LOG.exception("our own fault at %s", at.machine)
            at.error = BugError(str(fault) or type(fault).__name__)
        finally:
            self._messages.put(Left(at.machine))

    def _put(self, message: Message) -> None:
        with self._lock:  # so that no question comes behind the end of all
            if self._over is not None:
                raise self._over
            if isinstance(message, Question):
                self._asked = [q for q in self._asked if not q.answer.done()] + [message]
            self._messages.put(message)

    def _heard(self) -> Message | None:
        try:
            return self._messages.get(timeout=LOOK_S)
        except queue.Empty:
            return None

    def _heed(self, message: Message) -> None:
        """Take note of what a machine says; only questions are left waiting."""
        if isinstance(message, Question):
            self._busy.pop(message.machine, None)
            self._waiting.append(message)
        elif isinstance(message, Said):
            self._person.tell(f"At {message.machine}: {message.text}")
        elif isinstance(message, Waits):
            self._yield_turn(message.machine)
            self._show(message)
        else:
            self._yield_turn(message.machine)
            self._busy.pop(message.machine, None)
            self._tell_end(message.machine)

    def _next(self) -> Question | None:
        """The question whose turn it is: of the machine the person is at, else the oldest."""
        return next((q for q in self._waiting if self._turn in (None, q.machine)), None)

    def _put_to_person(self, question: Question) -> None:
        self._turn = question.machine
        self._waiting.remove(question)
        try:
            answer = getattr(self._person, question.how)(question.ask)
        except Later:
            self._turn = None
            self._waiting.append(question)
        except (TakeBack, InputError) as wish:
            question.answer.set_exception(wish)
        else:
            question.answer.set_result(answer)

    def _yield_turn(self, machine: str) -> None:
        if self._turn == machine:
            self._turn = None

    def _show(self, wait: Waits) -> None:
        """One line for all that wait: the slowest says how far, and how long still."""
        self._busy[wait.machine] = wait
        waits = sorted(self._busy.values(), key=lambda each: each.machine)
        known = [each.remaining_s for each in waits if each.remaining_s is not None]
        self._person.progress(
            ", ".join(f"{each.what} at {each.machine}" for each in waits),
            min(each.done for each in waits),
            max(known, default=None),
        )
        if wait.done >= 1.0:
            del self._busy[wait.machine]

    def _tell_end(self, machine: str) -> None:
        at = next(each for each in self._all if each.machine == machine)
        if at.error is not None and self._over is None:
            others = any(each.told is None and each.error is None for each in self._all)
            go_on = " The others go on." if others else ""
            self._person.tell(f"At {machine}: {at.error.message.rstrip('.')}.{go_on}")

    def _end(self, because: AsleftError) -> None:
        """Nobody is asked any more: whoever waits for an answer is told why."""
        self._over = because
        try:
            self.stop_now()
        except AsleftError:
            LOG.exception("a stop could not be written")  # its bench tells how it went
        with self._lock:
            for question in self._asked:
                if not question.answer.done():
                    question.answer.set_exception(because)
