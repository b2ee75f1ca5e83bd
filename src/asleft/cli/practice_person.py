"""The simulated person: answers the bench's ordinary prompts with the practice machine's hands.

Knows no hidden number. What an `Ask` wants done is sent over the control channel as it is;
readings come back as text off a simulated caliper and are typed in like anyone's.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from typing import TYPE_CHECKING

from asleft.cli.practice_card import print_from_card
from asleft.errors import RefusedError
from asleft.units import Typed, parse_typed

if TYPE_CHECKING:
    from asleft.bench import Ask
    from asleft.practice.hands import Hands


class PracticePerson:
    """A person with the hands of a practice machine.

    Args:
        hands: the control channel.
        say: told what a person would read on the screen.
        progress: told how far a wait has come.
    """

    def __init__(
        self,
        hands: Hands,
        *,
        say: Callable[[str], None],
        progress: Callable[[str, float, float | None], None],
    ) -> None:
        self._hands = hands
        self._say = say
        self._progress = progress

    def tell(self, text: str) -> None:
        """Read what the bench says."""
        self._say(text)

    def confirm(self, ask: Ask) -> bool:
        """Do what is asked with the hands, or look; agree where nothing is to be done."""
        if ask.key == "connect.replaced":
            return False  # nobody changes a board in this workshop: it is another machine
        if ask.key == "connect.hot":
            return not self._hands.ask("peek_heaters")["printing"]
        if ask.action == "print":
            print_from_card(self._hands, ask.details)
        elif ask.action == "enter":
            with suppress(RefusedError):  # a board without a file of its own has them in force
                self._hands.ask("edit_file", lines=list(ask.details["lines"]))
        elif ask.action == "set_height":
            self._hands.ask("level")
        elif ask.action in ("mark", "power_cycle", "mount", "edit_file"):
            self._hands.ask(ask.action, **ask.details)
        return True

    def number(self, ask: Ask) -> Typed:
        """Measure what is asked and type the caliper's text."""
        if ask.action == "measure_remaining":
            reply = self._hands.ask("measure_remaining")
        elif ask.action == "measure_carriage":
            reply = self._hands.ask("measure_carriage", axis=ask.details["axis"])
        elif ask.action == "measure_bead":
            width_mm, place = ask.details["drawn_width_mm"], ask.details["place"]
            reply = self._hands.ask("measure_bead", drawn_width_mm=width_mm, label=place)
        elif ask.action == "weigh":
            reply = self._hands.ask("weigh")
        else:
            columns = {key: ask.details[key] for key in ("direction", "faces", "nominal_mm")}
            reply = self._hands.ask("measure", label=ask.details["place"], **columns)
        return parse_typed(reply["text"], where=ask.key)

    def choose(self, ask: Ask) -> str:
        """Try what is asked with the hands and say how it went; else the first choice."""
        if ask.action == "try_fit":
            body = {k: v for k, v in ask.details.items() if k != "choices"}
            return str(self._hands.ask("try_fit", **body)["outcome"])
        return str(ask.details["choices"][0][0])

    def progress(self, what: str, done: float, remaining_s: float | None) -> None:
        """Watch."""
        self._progress(what, done, remaining_s)
