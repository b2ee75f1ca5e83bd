"""The person at a terminal: questions and progress on standard error, answers from the keyboard.

Not for deciding what is asked. Without a terminal, numbers come one a line from standard
input and yes comes from `--yes`; nothing ever waits for somebody who is not there.
"""

from __future__ import annotations

import contextlib
import sys
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, TextIO

from asleft.cli.failure import InputEndedError
from asleft.cli.wording import duration, paint, sentence, wrapped
from asleft.errors import InputError

if TYPE_CHECKING:
    from asleft.bench.person import Ask
    from asleft.units import Typed

YES = frozenset({"y", "yes"})
NO = frozenset({"n", "no"})
BACK, LATER = "back", "later"
_BAR_WIDTH = 24
_REDRAW_S = 0.1  # often enough to look alive, seldom enough to cost nothing
_LINE_EVERY_S = 10.0


class TerminalPerson:
    """Whoever sits at the terminal, as `bench.person.Person`.

    Args:
        yes: answer every yes-or-no question with yes (`--yes`); it is shown all the same. Not
            what only a person who looks at the machine can know.
        source: where answers are read from; standard input.
        target: where questions are written; standard error, so that results stay alone.
        clock_s: a steady clock in seconds, for how often progress is drawn.
    """

    def __init__(
        self,
        *,
        yes: bool = False,
        source: TextIO | None = None,
        target: TextIO | None = None,
        clock_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._yes = yes
        self._source = source or sys.stdin
        self._target = target or sys.stderr
        self._clock_s = clock_s
        self._drawn_s = -1e9
        self._what: str | None = None
        self._bar_open = False
        self._waited = False
        self._told_of_back = False

    def tell(self, text: str) -> None:
        """Say something that needs no answer."""
        self._close_bar()
        for paragraph in text.splitlines():
            self._write_lines(wrapped(paragraph))

    def confirm(self, ask: Ask) -> bool:
        """Ask yes or no; `--yes` answers yes, unless only a person can know.

        Raises:
            TakeBack: `back` was typed.
            InputError: nobody can answer and `--yes` may not, or was not given.
            Stopped: the input ended (exit 1).
        """
        self._put(ask)
        if self._yes and not ask.only_in_person:
            self._write_lines(["  yes (by --yes)"])
            return True
        if not self._source.isatty():
            raise _nobody_there(ask)
        while True:
            answer = self._read("yes or no").strip().casefold()
            _heed_wish(ask, answer)
            if answer in YES | NO:
                return answer in YES
            if answer == BACK:
                self._write_lines(["  Nothing stands before this that can be taken back."])
            self._write_lines(["  Please type yes or no."])

    def number(self, ask: Ask) -> Typed:
        """Ask for a number off an instrument, again until it is one.

        A length is from 0 (or `low` in the question's details) up to `high`, if given.

        Raises:
            TakeBack: `back` was typed.
            Stopped: the input ended (exit 1).
        """
        from asleft.bench.person import number_of

        self._put(ask)
        if self._source.isatty() and not self._told_of_back:
            self._told_of_back = True
            self._write_lines(["  (Type back at the next question to take a reading back.)"])
        while True:
            text = self._read(ask.unit)
            _heed_wish(ask, text.strip().casefold())
            try:
                return number_of(ask, text)
            except InputError as error:
                self._write_lines(wrapped(f"{sentence(error.message)} {error.hint}", indent="  "))

    def choose(self, ask: Ask) -> str:
        """Ask for one of the choices, by its word or by letters that no other one begins with.

        Raises:
            TakeBack: `back` was typed.
            Stopped: the input ended (exit 1).
        """
        self._put(ask)
        choices = [(str(value), str(text)) for value, text in ask.details["choices"]]
        self._write_lines([f"  {value}: {text}" for value, text in choices])
        while True:
            answer = self._read("/".join(value for value, _ in choices)).strip().casefold()
            _heed_wish(ask, answer)
            meant = [value for value, _ in choices if answer and value.startswith(answer)]
            if answer in meant or len(meant) == 1:
                return answer if answer in meant else meant[0]
            self._write_lines([f"  Please type {' or '.join(value for value, _ in choices)}."])

    def progress(self, what: str, done: float, remaining_s: float | None) -> None:
        """Show how far a wait has come: a bar on a terminal, now and then a line elsewhere."""
        what = what[:1].upper() + what[1:]
        self._waited = True
        now_s, fresh, ended = self._clock_s(), what != self._what, done >= 1.0
        if fresh:
            self._close_bar()
        self._what = None if ended else what
        pause_s = _REDRAW_S if self._target.isatty() else _LINE_EVERY_S
        if not (fresh or ended) and now_s - self._drawn_s < pause_s:
            return
        self._drawn_s = now_s
        share = min(max(done, 0.0), 1.0)
        left = "" if ended or remaining_s is None else f", about {duration(remaining_s)} left"
        if not self._target.isatty():
            self._write_lines([f"{what}: {share:.0%}{left}"])
            return
        filled = round(share * _BAR_WIDTH)
        bar = "=" * filled + " " * (_BAR_WIDTH - filled)
        self._target.write(f"\r\x1b[K{what} [{bar}] {share:.0%}{left}"[:120])
        self._target.flush()
        self._bar_open = True
        if ended:
            self._close_bar()

    def _put(self, ask: Ask) -> None:
        """Write the question, its cautions before it; keys pressed in a wait answer nothing."""
        self._close_bar()
        if self._waited and self._source.isatty():
            _forget_typed_ahead(self._source)
        self._waited = False
        for caution in ask.cautions:
            for line in wrapped(f"Caution: {sentence(caution)}"):
                self._write_lines([paint(line, "danger", self._target)])
        count = f"{ask.count[0]} of {ask.count[1]}: " if ask.count else ""
        place = f"place {ask.place}: " if ask.place else ""
        lines = wrapped(sentence(f"{count}{place}{ask.text}"))
        self._write_lines([paint(line, "strong", self._target) for line in lines])

    def _read(self, what: str) -> str:
        """One line of the answer, without its line end."""
        if self._source.isatty():
            self._target.write(f"  [{what}] ")
            self._target.flush()
        line = self._source.readline()
        if not line:
            self._write_lines([""])
            raise InputEndedError(
                "the answers ended before the questions did",
                where="standard input",
                hint="What was read is kept; run the same command again to go on.",
            )
        return line.rstrip("\r\n")

    def _close_bar(self) -> None:
        if self._bar_open:
            self._target.write("\n")
            self._bar_open = False

    def _write_lines(self, lines: list[str]) -> None:
        self._target.write("".join(f"{line}\n" for line in lines))
        self._target.flush()


def _heed_wish(ask: Ask, answer: str) -> None:
    """`back` takes the reading before this question back; `later` goes to the other machines."""
    if answer == BACK and ask.in_a_trial:
        from asleft.bench import TakeBack

        raise TakeBack
    if answer == LATER and "machine" in ask.details:
        from asleft.bench import Later

        raise Later


def _nobody_there(ask: Ask) -> InputError:
    if ask.only_in_person:
        return InputError(
            "only a person at the machine can answer this question, and there is no terminal",
            hint="Run the same command at a terminal and answer there; --yes does not answer it.",
            where="terminal",
        )
    return InputError(
        "there is no terminal to answer this question at",
        hint="Give --yes to answer yes to every question.",
        where="--yes",
    )


def _forget_typed_ahead(stream: TextIO) -> None:
    """Drop what was typed before a question stood there: it answers nothing."""
    if sys.platform == "win32":
        import msvcrt

        while stream.isatty() and msvcrt.kbhit():
            msvcrt.getwch()
        return
    import termios

    with contextlib.suppress(OSError, ValueError, termios.error):
        termios.tcflush(stream.fileno(), termios.TCIFLUSH)
