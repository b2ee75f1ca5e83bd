"""The person at the page, as the bench sees them: one question at a time, answered by a form.

The bench's thread waits here; forms arrive from other threads. An answer counts only for the
step that it names, once. Not for showing anything: the sheets draw what `present` holds.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from asleft.bench import Ask, Person, TakeBack
from asleft.bench.person import choice_of, number_of
from asleft.errors import InputError, Stopped
from asleft.units import Typed

Kind = Literal["confirm", "number", "choose"]
Fate = Literal["taken", "again", "stale", "held"]
REMEMBERED = 12  # sentences told, newest last


@dataclass(frozen=True)
class Present:
    """The step that waits for the person.

    `shown` is what a practice instrument shows; `problem` says why the last answer will not do,
    and `typed` is that answer.
    """

    key: str
    ask: Ask
    kind: Kind
    shown: str | None = None
    problem: str | None = None
    typed: str = ""


@dataclass(frozen=True)
class Wait:
    """How far the machine has come: what it does, 0 to 1, seconds left where known."""

    what: str
    done: float
    remaining_s: float | None


class PagePerson:
    """Whoever sits at the page or stands at the machine with a phone.

    Args:
        changed: called after every change; `True` where only a wait went on.
        companion: the simulated hands and eyes of a practice machine, or None.
    """

    def __init__(self, changed: Callable[[bool], None], companion: Person | None = None) -> None:
        self._changed = changed
        self._companion = companion
        self._turn = threading.Condition()
        self._answer: Mapping[str, str] | None = None
        self._held: tuple[str, Mapping[str, str]] | None = None
        self._stopping = False
        self._prefix = ""
        self._asked: dict[str, int] = {}
        self.took_back: Callable[[], None] = lambda: None
        self.present: Present | None = None
        self.wait: Wait | None = None
        self.told: list[str] = []

    def begin(self, prefix: str, *, fresh: bool) -> None:
        """From now on steps carry this prefix; `fresh` forgets an earlier stop and its words."""
        with self._turn:
            self._prefix = prefix
            self._asked = {}
            if fresh:
                self._stopping, self.told = False, []
            self.wait = None

    def stop(self) -> None:
        """Whatever is asked, or asked next, raises `Stopped`."""
        with self._turn:
            self._stopping = True
            self._turn.notify_all()

    def answer(self, key: str, form: Mapping[str, str]) -> Fate:
        """Hand in what a form says for the step `key`.

        Returns:
            `taken` once; `again` where it will not do and the step says why; `stale` for any
            other step than the present one.
        """
        with self._turn:
            present = self.present
            if present is None or present.key != key or self._answer is not None:
                return "stale"
            problem = _problem(present, form)
            if problem is None:
                self._answer, self.present = dict(form), None
                self._turn.notify_all()
            else:
                self.present = replace(present, problem=problem, typed=form.get("value", ""))
        self._changed(False)
        return "taken" if problem is None else "again"

    def hold(self, key: str, form: Mapping[str, str]) -> None:
        """Keep an answer until that very step is asked again after a restart."""
        with self._turn:
            self._held = (key, dict(form))

    def tell(self, text: str) -> None:
        """Something that needs no answer."""
        with self._turn:
            self.told = [*self.told, text][-REMEMBERED:]
        self._changed(False)

    def confirm(self, ask: Ask) -> bool:
        """Yes or no."""
        yes = self._ask(ask, "confirm").get("answer") == "yes"
        if yes and self._companion is not None:
            self.progress("your hands at the practice machine", 0.0, None)
            self._companion.confirm(ask)
        return yes

    def number(self, ask: Ask) -> Typed:
        """A number off an instrument."""
        shown = None if self._companion is None else self._companion.number(ask).raw
        return number_of(ask, self._ask(ask, "number", shown).get("value", ""))

    def choose(self, ask: Ask) -> str:
        """One of the choices."""
        shown = None if self._companion is None else self._companion.choose(ask)
        return choice_of(ask, self._ask(ask, "choose", shown).get("answer", ""))

    def progress(self, what: str, done: float, remaining_s: float | None) -> None:
        """How far a wait has come.

        Raises:
            Stopped: the stop was pressed before the machine's line was there to take it.
        """
        if self._stopping:
            raise Stopped("stopped by the person at the page", where=what)
        fresh = self.wait is None or self.wait.what != what
        self.wait = Wait(what, min(max(done, 0.0), 1.0), remaining_s)
        self._changed(not fresh)

    def _ask(self, ask: Ask, kind: Kind, shown: str | None = None) -> Mapping[str, str]:
        """Put a step up and wait for its answer.

        Raises:
            Stopped: the stop was pressed before or meanwhile.
            TakeBack: the person wants the reading before this one again.
        """
        key = f"{self._prefix}{ask.key}"
        with self._turn:
            again = self._asked.get(key, 0)
            self._asked[key] = again + 1
            key += f"~{again}" if again else ""
            self.present, self.wait = Present(key, ask, kind, shown), None
            self._answer = self._held_for(self.present)
        self._changed(False)
        with self._turn:
            while self._answer is None and not self._stopping:
                self._turn.wait()
            answer, self._answer = self._answer, None
            self.present = None
            if self._stopping:
                raise Stopped("stopped by the person at the page", where=ask.key)
        self._changed(False)
        assert answer is not None  # noqa: S101 - the loop above ends with one
        if answer.get("answer") == "back":
            self.took_back()
            raise TakeBack
        return answer

    def _held_for(self, present: Present) -> Mapping[str, str] | None:
        """The answer that came before this step was asked again; one for another step is let go.

        Steps that only ask how the machine stands come first after a restart and change nothing.
        """
        if self._held is None or present.ask.only_in_person:
            return None
        (key, form), self._held = self._held, None
        return form if key == present.key and _problem(present, form) is None else None


def _problem(present: Present, form: Mapping[str, str]) -> str | None:
    """Why an answer will not do, in words; None where it will."""
    said = form.get("answer", "")
    if said == "back":
        return None if present.ask.in_a_trial else "There is no reading before this one."
    try:
        if present.kind == "number":
            number_of(present.ask, form.get("value", ""))
        elif present.kind == "choose":
            choice_of(present.ask, said)
        elif said not in ("yes", "no"):
            return "Please press one of the two buttons."
    except InputError as error:
        return f"{error.message}. {error.hint or ''}".strip()
    return None
