"""`--stream`: a piece's file printed over the line, with its person beside the machine.

Not for how it is sent or what ends it: that is the bench's. Here stand the keys: Enter pauses and
goes on, Ctrl-C stops.
"""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO, TypeVar

import click

from asleft.cli.session import line_options
from asleft.errors import InputError, Stopped

if TYPE_CHECKING:
    from asleft.cli.session import Session

Command = TypeVar("Command", bound=Callable[..., Any])


def stream_options(command: Command) -> Command:
    """Add `--stream` and what it needs to a command that writes a piece."""
    options = (
        click.option("--stream", is_flag=True, help="Print it over the line, attended."),
        click.option("--yes", is_flag=True, help="Answer yes to every question."),
    )
    for option in reversed(options):
        command = option(command)
    return line_options(command)


def refuse_without_path(session: Session, given: dict[str, Any], why: str | None) -> None:
    """Refuse `--stream` before a file is written where nothing could be printed.

    Args:
        why: the reason why there is no tool path, None where there is one.

    Raises:
        InputError: no path, or nobody who could answer.
    """
    if not given["stream"]:
        return
    if why is not None:
        raise InputError(f"there is nothing to print: {why}", where="--stream")
    session.need_answers(yes=given["yes"])


def stream_file(session: Session, file: str, given: dict[str, Any]) -> dict[str, Any]:
    """Print a written file over the line; what the bench tells of it.

    Raises:
        AsleftError: as it ended; see `bench.streaming`. A print is never gone on with, so a stop
            says what to do instead.
    """
    text = Path(file).read_text(encoding="utf-8")
    keys = Enter(sys.stdin)
    try:
        with session.bench(
            yes=given["yes"], address=given["address"], rate_baud=given["rate_baud"]
        ) as bench:
            return bench.stream(text, paused=keys.paused)
    except (KeyboardInterrupt, click.Abort) as stop:
        again = "To print it anew, give the same command with --force."
        raise Stopped("Stopped", hint=again, where="--stream") from stop


class Enter:
    """The Enter key as a switch between printing and pausing; nothing where there is no terminal.

    Args:
        source: where it is typed. Read from the first question on, not before: until then the
            keyboard belongs to the questions.
    """

    def __init__(self, source: TextIO) -> None:
        self._source = source
        self._standing = threading.Event()
        self._reads = False

    def paused(self) -> bool:
        """Whether the person wants it to stand still now."""
        if not self._reads and self._source.isatty():
            self._reads = True
            click.echo("Enter pauses and goes on; Ctrl-C stops.", err=True)
            threading.Thread(target=self._listen, daemon=True).start()
        return self._standing.is_set()

    def _listen(self) -> None:
        while self._source.readline():
            if self._standing.is_set():
                self._standing.clear()
            else:
                self._standing.set()
