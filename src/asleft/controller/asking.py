"""One question, everything that was said to it, and whether it was refused.

An `ok` only frees the line: refusals stand in other lines, some of them unasked. This is the one
place that knows their wording. Stands on the line's answers; knows no command's meaning.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass

from asleft.errors import AsleftError, LineError, MachineError, MachineResetError, Stopped
from asleft.link.answer import Answer, Line, Notice

# From memory, common practice: how the refusals of many controllers are worded.
_UNKNOWN = re.compile(
    r"unknown (?:command|code)|unsupported|not supported|unrecogni[sz]ed|not implemented", re.I
)
_NOT_DONE = re.compile(
    r"cold ?-?extru|too cold|home (?:\w+ )?(?:axes |axis )?first|must be homed|not homed"
    r"|out(?:side)? (?:of )?(?:the )?(?:range|travel|bounds|limits?)|exceeds|prevented"
    r"|extrusion refused|not moved|^!!|^error",
    re.I,
)


@dataclass(frozen=True)
class Heard:
    """An answer with what came unasked while it was awaited.

    `refusal` is the line that says the command was not done, `unknown` whether it says that
    the machine does not know the command at all.
    """

    answer: Answer
    unasked: tuple[Notice, ...]

    @property
    def texts(self) -> tuple[str, ...]:
        """Every line said to this command, the text behind `ok` last."""
        texts = [*self.answer.errors, *self.answer.lines]
        texts += [n.text for n in self.unasked if n.kind in ("text", "error")]
        return tuple(t for t in (*texts, self.answer.acknowledged) if t.strip())

    @property
    def refusal(self) -> str | None:
        """The first line that says no."""
        if self.answer.errors:
            return self.answer.errors[0]
        moves = self.answer.command.startswith(("G", "M400"))
        for text in self.texts:
            if _UNKNOWN.search(text) or (moves and _NOT_DONE.search(_bare(text))):
                return text
        return None

    @property
    def unknown(self) -> bool:
        """Whether the machine does not know the command."""
        return says_unknown(self.texts)


class Asker:
    """Asks a line, and turns a refusal into an error that says what was awaited."""

    def __init__(self, line: Line) -> None:
        self.line = line
        self.homed: set[str] = set()
        self._unasked: list[Notice] = []
        self.restarts = 0
        self._restarts_told = 0
        self.stop_untold = False  # nobody has been told of the last stop yet
        self._in_operation = False
        self.has_acted = False  # heat or motion was asked for in this session

    @contextmanager
    def operation(self) -> Iterator[None]:
        """Heating or moving: a stop that comes before it or between two questions ends it."""
        self._tell_stop("the next step")
        self.has_acted = True
        self._in_operation = True
        try:
            yield
        finally:
            self._in_operation = False

    def _tell_stop(self, where: str) -> None:
        if self.stop_untold:
            self.stop_untold = False
            raise Stopped("stopped before it was sent", where=where)

    def stop(self) -> None:
        """Stop and heaters off, ahead of everything; homing is not to be trusted after it."""
        self.stop_untold = True
        self.homed.clear()
        self.line.stop()

    def ask(
        self, command: str, *, within_s: float, awaited: str = "", may_refuse: bool = False
    ) -> Heard:
        """Send one command and wait for its end.

        Args:
            command: the bare command.
            within_s: upper bound, from the physics.
            awaited: what is waited for, in words; named in the errors.
            may_refuse: hand a refusal back instead of raising.

        Raises:
            LineError: the line failed; homing is not to be trusted.
            MachineResetError: the machine restarted, now or unnoticed since the last question;
                homing and what was not stored are gone. Each restart is told once; one that
                came before the question is told instead of sending it.
            MachineError: the machine said that it did not do it.
            Stopped: somebody stopped the operation that this question belongs to.
        """
        if self._in_operation:
            self._tell_stop(command)
        self.hear()
        self._tell_restart(command)
        try:
            answer = self.line.exchange(command, within_s=within_s)
        except MachineResetError:
            self._note_restart()
            self.restarts_are_told()
            with suppress(LineError):  # its banner among the notices is no second restart
                self._unasked += self.line.notices()
            raise
        except Stopped:
            self.stop_untold = False
            raise
        except LineError:
            self.homed.clear()
            raise
        heard = Heard(answer, self.hear())
        if self._in_operation:  # it may tell of heaters that the stop switched off meanwhile
            self._tell_stop(command)
        if heard.refusal is not None and not may_refuse:
            raise MachineError(
                f"the machine refused {command}{f' ({awaited})' if awaited else ''}: "
                f"{_bare(heard.refusal)}",
                hint="Nothing after it was sent. Look at the machine, then try again.",
                where=command,
            )
        return heard

    def unasked(self) -> list[Notice]:
        """What the machine said by itself since the last call."""
        self.hear()
        came, self._unasked = self._unasked, []
        return came

    def hear(self) -> tuple[Notice, ...]:
        """Take what came unasked; a boot banner among it is a restart."""
        came = tuple(self.line.notices())
        self._unasked += came
        if any(notice.kind == "reset" for notice in came):
            self._note_restart()
        return came

    def _note_restart(self) -> None:
        self.restarts += 1
        self.homed.clear()

    def restarts_are_told(self) -> None:
        """Whoever is here knows of every restart so far."""
        self._restarts_told = self.restarts

    def restarts_are_untold(self) -> None:
        """The last restart was told to somebody who went on: the next one must know, too."""
        self._restarts_told = self.restarts - 1

    def _tell_restart(self, where: str) -> None:
        if self.restarts > self._restarts_told:
            self.restarts_are_told()
            raise MachineResetError(
                "the machine restarted since the last step",
                hint="What was not stored is gone, and it must be homed again. Read its settings"
                " anew.",
                where=where,
            )


def says_unknown(texts: Iterable[str]) -> bool:
    """Whether one of the lines says that the machine does not know the command."""
    return any(_UNKNOWN.search(text) for text in texts)


def tell_also(error: BaseException, failure: AsleftError) -> None:
    """Let an error on its way out say too what could not be put right behind it."""
    if isinstance(error, AsleftError) and failure.message in error.message:
        return  # said already
    if isinstance(error, AsleftError):
        error.message = f"{error.message.rstrip('.')}. And then: {failure.message}"
        error.hint = failure.hint or error.hint
        error.args = (error.message,)
    else:
        error.add_note(f"{failure.message}. {failure.hint or ''}")


def _bare(text: str) -> str:
    return re.sub(r"^\s*echo\s*:\s*", "", text, flags=re.IGNORECASE).strip()
