"""A piece printed over the line, attended: told how far it is, paused, stopped, never resumed.

Which piece it is, is not asked: any checked file of plain codes. The file goes out by
`controller.PrintOver`; here stand the words, the pause and the way out. Stands on the desk.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

from asleft.bench.change.height import require_height
from asleft.bench.desk import Desk
from asleft.bench.person import Ask
from asleft.controller import PrintFile, PrintOver, check_file, tell_also
from asleft.errors import AsleftError, Stopped

if TYPE_CHECKING:
    from asleft.controller import PrintLine

CAUTIONS = (
    "The machine gets hot and moves by itself: clear the bed, keep hands out, air the room.",
    "Stay beside it to the end, with its power switch in reach. Ctrl-C stops it.",
)
_HEATING_MINUTES = 5  # a nozzle and a bed, about (common practice, no source)
_RAMPS = 1.15  # moves take longer than distance over speed until it is seen by how much; a guess
_SEEN_S = 60.0
_TOLD_EVERY = 0.005  # of the print


def stream(desk: Desk, text: str, *, paused: Callable[[], bool] = lambda: False) -> dict[str, Any]:
    """Check a file against the machine's limits, ask, and print it over the line.

    Args:
        desk: whose machine and person.
        text: the codes.
        paused: asked between two lines; the machine stands while it says so.

    Returns:
        `lines`, `minutes` (as it took) and `pauses`.

    Raises:
        InputError, RefusedError: the file is not for this machine, or a delta's height was not
            set again; nothing was sent.
        Stopped: the person did not want it, or stopped it. LineError, MachineError: as they came,
            with how far the print was. Heaters are off as far as can be known.
    """
    check_file(text, desk.description_unconnected)  # before the line is opened
    machine = desk.connect()
    file = check_file(text, desk.description)  # who answers may be another one
    require_height(desk)
    minutes = _HEATING_MINUTES + file.seconds * _RAMPS / 60
    ask = Ask(
        "stream.begin",
        f"Print it over the line now? It takes about {minutes:.0f} minutes.",
        cautions=CAUTIONS,
        action="approve",
    )
    if not desk.person.confirm(ask):
        raise Stopped("not printed; nothing was sent", where=ask.key)
    job = _Job(desk, PrintOver(machine, file, heating=_heating(desk)), file, paused)
    try:
        with machine.neutral_feed() as neutral:
            for warning in neutral.warnings:
                desk.person.tell(warning)
            job.run()
    except BaseException as error:
        _say_how_far(error, job)
        with _told_with(error):
            machine.make_safe()
            desk.person.tell("The heaters are off; what was hot stays hot for a while.")
        raise
    machine.make_safe()
    return {"lines": len(file.lines), "minutes": job.took_s() / 60, "pauses": job.pauses}


class _Job:
    """One print: what was sent, how long it took, and how much longer it will."""

    def __init__(
        self, desk: Desk, over: PrintOver, file: PrintFile, paused: Callable[[], bool]
    ) -> None:
        self._person, self._now = desk.person, desk.clock
        self.over, self.file, self._paused = over, file, paused
        self.pauses = 0
        self._done_s = self._told = 0.0
        self._began = self._moving_since = self._now()

    def run(self) -> None:
        """Send all of it."""
        for line in self.over.lines():
            self._count(line)
            if self._paused():
                self._hold(line)
        self._person.progress("printing", 1.0, 0.0)

    def tell(self, text: str) -> None:
        """To whoever stands beside it."""
        self._person.tell(text)

    def took_s(self) -> float:
        """Seconds since it began."""
        return (self._now() - self._began).total_seconds()

    def share(self) -> float:
        """Of the print's moves, 0 to 1."""
        return self._done_s / max(self.file.seconds, 1e-9)

    def _count(self, line: PrintLine) -> None:
        if line.code in ("M109", "M190", "G28"):
            self._moving_since = self._now()
        self._done_s += line.seconds
        if self.share() - self._told >= _TOLD_EVERY:
            self._told = self.share()
            self._person.progress("printing", min(self._told, 0.999), self._left_s())

    def _left_s(self) -> float:
        """At the pace of the moves so far."""
        moving_s = (self._now() - self._moving_since).total_seconds()
        pace = moving_s / self._done_s if self._done_s > _SEEN_S else _RAMPS
        return (self.file.seconds - self._done_s) * pace

    def _hold(self, line: PrintLine) -> None:
        self.pauses += 1
        before = self._now()
        self._person.tell("Paused: it stands still and stays hot. Do not leave it.")
        self.over.hold(line, lambda: not self._paused())
        self._moving_since += self._now() - before
        self._person.tell("Going on. Where it stood, the piece may show a mark.")


def _heating(desk: Desk) -> Callable[[float, float | None], None]:
    return lambda done, left_s: desk.person.progress("heating", done, left_s)


def _say_how_far(error: BaseException, job: _Job) -> None:
    """The truth about a print that ended early, in words, with the error that ended it."""
    told = (
        f"The print ended at line {job.over.sent} of {len(job.file.lines)}"
        f" ({job.share():.0%} of its way); it is not gone on with"
    )
    if isinstance(error, AsleftError):
        error.message = f"{error.message.rstrip('.')}. {told}"
        error.hint = f"{error.hint or ''} Let it cool, clear the bed, then begin anew.".strip()
        error.args = (error.message,)
    else:
        error.add_note(f"{told}.")
        job.tell(f"{told}. Let it cool, clear the bed, then begin anew.")


@contextlib.contextmanager
def _told_with(error: BaseException) -> Iterator[None]:
    """What cannot be put right on the way out is told with the error, never instead of it."""
    try:
        yield
    except AsleftError as failure:
        tell_also(error, failure)
