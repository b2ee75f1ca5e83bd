"""Pages as tests see them: fenced blocks in order, and what was shown compared with what comes.

Not for judging a page's words. A line `…` stands for any lines, `…` in a line for anything in it.
"""

from __future__ import annotations

import contextlib
import io
import logging
import re
import signal
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

SIGNALS = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
DOCS = Path(__file__).resolve().parents[2] / "docs"


@dataclass(frozen=True)
class Block:
    """One fenced block: its info string, its text, and the line of the page where it starts."""

    info: str
    text: str
    line: int

    @property
    def lines(self) -> list[str]:
        return self.text.split("\n")


def blocks_of(name: str) -> list[Block]:
    """The fenced blocks of a page, in order."""
    found: list[Block] = []
    inside: list[str] | None = None
    info, start = "", 0
    for number, line in enumerate((DOCS / name).read_text(encoding="utf-8").split("\n"), 1):
        if not line.startswith("```"):
            if inside is not None:
                inside.append(line)
        elif inside is None:
            inside, info, start = [], line[3:].strip(), number
        else:
            found.append(Block(info, "\n".join(inside), start))
            inside = None
    assert inside is None, f"{name}: the block of line {start} is not closed"
    return found


def pattern(shown: str) -> re.Pattern[str]:
    """What a page shows, as a pattern; spaces at line ends do not count."""
    whole = ""
    for line in shown.rstrip("\n").split("\n"):
        if line.strip() == "…":
            whole += r"(?:[^\n]*\n)*?"
        else:
            whole += "[^\\n]*?".join(re.escape(part) for part in line.rstrip().split("…")) + r"\n"
    return re.compile(whole)


def compare(shown: str, came: str, where: str) -> None:
    """Fail with both texts where they differ."""
    clean = "".join(f"{line.rstrip()}\n" for line in came.rstrip("\n").split("\n"))
    if shown.strip() or clean.strip():
        assert pattern(shown).fullmatch(clean), f"{where} shows\n{shown}\nand what came is\n{clean}"


@pytest.fixture
def page() -> Callable[[str], list[Block]]:
    return blocks_of


@pytest.fixture
def same() -> Callable[[str, str, str], None]:
    return compare


@pytest.fixture
def docs() -> Path:
    return DOCS


class Keyboard(io.StringIO):
    """A person at the terminal: types an answer to what is on the screen, which shows it."""

    def __init__(self, screen: io.StringIO, answer: Callable[[str], str]) -> None:
        super().__init__()
        self._screen, self._answer = screen, answer

    def isatty(self) -> bool:
        return True

    def readline(self, *_: object) -> str:
        typed = self._answer(self._screen.getvalue())
        self._screen.write(f"{typed}\n")
        return f"{typed}\n"


@contextlib.contextmanager
def left_as_found(patch: pytest.MonkeyPatch) -> Iterator[None]:
    """What a program may take for itself and a test may not keep: signals and the log."""
    log = logging.getLogger("asleft")
    numbers = [getattr(signal, name) for name in SIGNALS if hasattr(signal, name)]
    signals = {number: signal.getsignal(number) for number in numbers}
    handlers, level = list(log.handlers), log.level
    patch.setattr(log, "propagate", log.propagate)
    patch.setattr(logging, "raiseExceptions", logging.raiseExceptions)
    try:
        yield
    finally:
        for number, handler in signals.items():
            signal.signal(number, handler)
        for added in set(log.handlers) - set(handlers):
            log.removeHandler(added)
            added.close()
        log.setLevel(level)


@dataclass
class Shell:
    """A folder with a home of its own, in which commands are run.

    They run in this process: a page has dozens, and each would load everything anew. That the
    installed program starts and ends as it should is shown by `tests/cli`.
    """

    folder: Path
    patch: pytest.MonkeyPatch

    def __call__(
        self, *words: str, person: Callable[[str], str] | None = None
    ) -> tuple[int, str, str]:
        """Run `asleft …`; its exit status, standard output and standard error.

        With a `person` at the terminal, who gets the screen so far and returns what to type, all
        that is on the screen counts as output. Without, nobody is there.
        """
        from asleft.cli.app import run

        out = io.StringIO()
        err = io.StringIO() if person is None else out
        with self.patch.context() as here, left_as_found(here):
            here.chdir(self.folder)
            here.setenv("ASLEFT_HOME", str(self.folder / "home"))
            here.setattr(sys, "stdin", Keyboard(out, person) if person else io.StringIO())
            here.setattr(sys, "stdout", out)
            here.setattr(sys, "stderr", err)
            status = run(list(words))
        return status, out.getvalue(), err.getvalue()

    def keep(self, block: Block) -> None:
        """Write a block as the file that its first line names."""
        name = re.fullmatch(r"[#;] (\S+)", block.lines[0])
        assert name, f"line {block.line}: a file's first line names it"
        (self.folder / name[1]).write_text(block.text + "\n", encoding="utf-8")


@pytest.fixture
def shell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Shell:
    return Shell(tmp_path, monkeypatch)
