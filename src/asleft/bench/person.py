"""The person at the bench, as `bench` sees them: questions out, answers in.

The terminal, the page and the simulated person of the practice machine are three of them.
A question carries a stable key, so that an answer meets the step that asked for it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Protocol

from asleft.errors import InputError
from asleft.units import Typed, parse_typed


@dataclass(frozen=True)
class Ask:
    """One question.

    `key` names the step (`feed.2.remaining`); `text` is one sentence; `cautions` stand with
    it because they matter at this step; `count` is (which, of how many) where there is one.
    `place` is the label on the drawing, `unit` what the number is in. `action` says what the
    person's hands do (`mark`, `measure_remaining`, `print`, `measure_place`, `measure_bead`,
    `weigh`, `try_fit`, `power_cycle`, `enter`, `approve`, `check`), `details` with what, so that a
    face can draw it and a simulated person can do it. Two details bound the answer to `number`, in
    `unit`: `low`, the smallest that is possible (0 where it is not given), and `high`, the largest
    (no bound where it is not given); a face asks again for anything outside. `not_zero` says why 0
    is no answer, where it is none. A question for `choose` has `choices` in its details: a list of
    [value, text], the value being what is stored and the text what a person reads.
    `only_in_person` marks what only somebody who looks at the
    machine can know: no option answers it beforehand, and a face without such a person raises
    `InputError`.
    """

    key: str
    text: str
    cautions: tuple[str, ...] = ()
    count: tuple[int, int] | None = None
    place: str | None = None
    unit: str = "mm"
    action: str = "check"
    details: Mapping[str, Any] = field(default_factory=dict)
    only_in_person: bool = False

    @property
    def in_a_trial(self) -> bool:
        """Whether it is a trial's step, so that a reading may stand before it."""
        return not self.only_in_person and self.action not in ("approve", "power_cycle")


class TakeBack(Exception):  # noqa: N818 - a wish of the person, not a fault
    """The person wants the reading before this question taken back and asked again."""


class Person(Protocol):
    """Whoever answers. Every method may raise `Stopped`, or `InputError` where nobody can."""

    def tell(self, text: str) -> None:
        """Say something that needs no answer."""
        ...

    def confirm(self, ask: Ask) -> bool:
        """A question with yes or no; yes means that it was done, or may be done.

        May raise `TakeBack`.
        """
        ...

    def number(self, ask: Ask) -> Typed:
        """A number off an instrument; asks again until the text is a number.

        May raise `TakeBack`.
        """
        ...

    def choose(self, ask: Ask) -> str:
        """One of the values in `ask.details["choices"]`; asks again until it is one of them.

        May raise `TakeBack`.
        """
        ...

    def progress(self, what: str, done: float, remaining_s: float | None) -> None:
        """How far a wait has come, 0 to 1, and the seconds left where they are known."""
        ...


def number_of(ask: Ask, text: str) -> Typed:
    """The number that a text answers a question with.

    Raises:
        InputError: it is no number, or one that is impossible here.
    """
    typed = parse_typed(text, where=ask.unit, lengths=ask.unit == "mm")
    low, high = float(ask.details.get("low", 0.0)), ask.details.get("high")
    if typed.value == 0 and "not_zero" in ask.details:
        raise InputError(f"{typed.raw.strip()} is no length here", hint=ask.details["not_zero"])
    if typed.value < low or (high is not None and typed.value > float(high)):
        bound = f"from {low:g}" + (f" to {float(high):g}" if high is not None else "")
        raise InputError(
            f"{typed.raw.strip()} is impossible here", hint=f"Type {bound} {ask.unit}."
        )
    return typed


def choice_of(ask: Ask, text: str) -> str:
    """The choice that a text answers a question with.

    Raises:
        InputError: it is none of them.
    """
    values = [str(value) for value, _ in ask.details["choices"]]
    if text not in values:
        raise InputError(f"{text!r} is no choice here", hint=f"Say {' or '.join(values)}.")
    return text
