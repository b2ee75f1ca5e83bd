"""A first evening, done as it is written: every command, every file, every typed word, in order."""

from __future__ import annotations

import contextlib
import os
import re
import select
import shlex
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

ADDRESS_SHOWN = "socket://127.0.0.1:40123"
FOLDER = Path(sys.executable).parent
PROMPT = re.compile(r"^  \[(?:yes or no|mm)\] ?", re.MULTILINE)
LAST_LINE = {"$": "End with", "reveal": "}"}  # all other answers have one line
HANDS = ("$", "mark", "measure", "print", "read", "off", "reveal")


def argv(line: str, address: str) -> list[str]:
    """The words of a `$ asleft …` line, with the installed program and the real address."""
    program, *words = shlex.split(line.removeprefix("$ ").replace(ADDRESS_SHOWN, address))
    assert program == "asleft", line
    return [str(FOLDER / ("asleft.exe" if os.name == "nt" else "asleft")), *words]


def steps(lines: list[str]) -> Iterator[tuple[str, str]]:
    """Each command of a block with the output shown below it."""
    command, shown = "", list[str]()
    for line in [*lines, "$ "]:
        if not line.startswith("$ "):
            shown.append(line)
            continue
        if command:
            yield command, "\n".join(shown)
        command, shown = line, []


class Reader:
    """The reader of the page: a folder, files written in it, commands run in it."""

    def __init__(self, shell) -> None:
        self.shell, self.folder = shell, shell.folder
        self.environment = {
            **os.environ,
            "ASLEFT_HOME": str(self.folder / "home"),
            "PYTHONIOENCODING": "utf-8",
            "NO_COLOR": "1",
        }

    def do(self, block, same) -> None:
        """One block without a terminal: a file to write, or commands with their output."""
        if block.info != "console":
            self.shell.keep(block)
            return
        for command, shown in steps(block.lines):
            status, out, err = self.shell(*argv(command, ADDRESS_SHOWN)[1:])
            assert status < 2, f"tutorial.md:{block.line}: {command}\n{err}"
            same(shown, out, f"tutorial.md:{block.line}, {command}")


@pytest.fixture
def reader(shell) -> Reader:
    return Reader(shell)


def of(blocks, *infos: str):
    return [block for block in blocks if block.info in infos]


def test_the_practice_run(page, reader, same):
    watched, *_ = of(page("tutorial.md"), "console")
    assert "practice --unattended" in watched.text
    reader.do(watched, same)
    assert list((reader.folder / "home/practice/records").glob("*.pdf"))


def test_the_evening_on_paper(page, reader, same, docs):
    _, *blocks = of(page("tutorial.md"), "console", "csv", "text")
    assert sum(block.info == "console" for block in blocks) > 5
    for block in blocks:
        reader.do(block, same)
    assert (reader.folder / "evening.pdf").read_bytes().startswith(b"%PDF")
    assert (reader.folder / "pieces/span-drawing.svg").is_file()
    home = (docs / "reference.md").read_text("utf-8").split("### The home", 1)[1].split("\n### ")[0]
    for path in (reader.folder / "home").iterdir():
        assert f"`{path.name}" in home or path.name.endswith(("-wal", "-shm")), path.name


class Machine:
    """The first terminal: the practice machine, and its owner's hands by typed words."""

    def __init__(self, reader: Reader) -> None:
        self.reader = reader
        self.child: subprocess.Popen[str] | None = None
        self.address = ""

    def do(self, block, same) -> None:
        where = f"tutorial.md:{block.line}"
        asked, shown = "", list[str]()
        for line in [*block.lines, None]:
            typed = line is None or line.partition(" ")[0] in HANDS
            if not typed:
                shown.append(line)
                continue
            if asked:
                came = self._answer(LAST_LINE.get(asked.partition(" ")[0], ""))
                same("\n".join(shown).replace(ADDRESS_SHOWN, self.address), came, where)
            asked, shown = line or "", []
            if asked.startswith("$ "):
                self._start(asked)
            elif asked:
                self.child.stdin.write(f"{asked}\n")
                self.child.stdin.flush()

    def _start(self, command: str) -> None:
        self.child = subprocess.Popen(
            argv(command, ""),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            encoding="utf-8",
            cwd=self.reader.folder,
            env={**self.reader.environment, "PYTHONUNBUFFERED": "1"},
        )

    def _answer(self, last: str) -> str:
        """All lines up to one that begins so."""
        came, line = "", ""
        while not line or not line.startswith(last):
            came += (line := self.child.stdout.readline())
            assert line, came
            self.address = self.address or line.strip()
        return came

    def close(self) -> None:
        if self.child is not None:
            self.child.stdin.close()
            self.child.wait(20)
            self.child.stdout.close()


class Terminal:
    """The second terminal: one command after the other, with a person at the keyboard."""

    def __init__(self, reader: Reader) -> None:
        self.reader = reader
        self.child: subprocess.Popen[bytes] | None = None
        self.terminal = -1
        self.screen = ""
        self.asked = False  # the question on the screen was shown by the page already

    def do(self, block, address: str, same) -> None:
        where = f"tutorial.md:{block.line}"
        shown: list[str] = []
        for line in block.lines:
            if line.startswith("$ "):
                self._end("\n".join(shown), same, where)
                self._start(argv(line, address))
                shown = []
            elif prompt := PROMPT.match(line):
                self._meet("\n".join([*shown, prompt[0]]), same, where)
                self._type(line[prompt.end() :].strip())
                shown = []
            else:
                shown.append(line)
        if shown or not self.asked:
            self._end("\n".join(shown), same, where)

    def _start(self, command: list[str]) -> None:
        import pty

        self.terminal, inner = pty.openpty()
        self.child = subprocess.Popen(
            command,
            stdin=inner,
            stdout=inner,
            stderr=inner,
            start_new_session=True,
            cwd=self.reader.folder,
            env=self.reader.environment,
        )
        os.close(inner)
        self.screen, self.asked = "", False

    def _meet(self, shown: str, same, where: str) -> None:
        """The question that the page shows must come; it may have come in the block before."""
        if self.asked:
            return
        until_s = time.monotonic() + 30
        while not PROMPT.search(self.screen.rsplit("\n", 1)[-1]):
            assert time.monotonic() < until_s, self.screen
            self._look()
        same(shown, self.screen, where)
        self.screen, self.asked = "", True

    def _type(self, answer: str) -> None:
        if answer:
            time.sleep(0.05)  # what was typed before the question is thrown away
            os.write(self.terminal, f"{answer}\n".encode())
            self._echoed(answer)
            self.asked = False

    def _echoed(self, answer: str) -> None:
        while "\n" not in self.screen:
            self._look()
        self.screen = self.screen.split("\n", 1)[1]

    def _end(self, shown: str, same, where: str) -> None:
        if self.child is None:
            return
        until_s = time.monotonic() + 30
        while self.child.poll() is None:
            assert time.monotonic() < until_s, self.screen
            self._look()
        self._look()
        os.close(self.terminal)
        status, self.child = self.child.returncode, None
        assert status == 0, self.screen
        same(shown, self.screen, where)

    def _look(self) -> None:
        """Take what is on the terminal; of a bar that was drawn anew only the last state."""
        with contextlib.suppress(OSError):  # a terminal whose program has gone
            while select.select([self.terminal], [], [], 0.05)[0]:
                came = os.read(self.terminal, 65536).decode()
                self.screen = re.sub(
                    r"[^\n]*\r\x1b\[K", "", (self.screen + came).replace("\r\n", "\n")
                )

    def close(self) -> None:
        if self.child is not None:
            self.child.kill()
            self.child.wait()
            os.close(self.terminal)


@pytest.mark.skipif(os.name == "nt", reason="pseudo-terminals are POSIX")
def test_an_evening_at_two_terminals(page, reader, same):
    machine, terminal = Machine(reader), Terminal(reader)
    blocks = of(page("tutorial.md"), "console one", "console two")
    assert len(blocks) > 5
    described = next(b for b in of(page("tutorial.md"), "console") if "describe" in b.text)
    reader.do(described, same)  # of the evening on paper: the store knows another machine already
    try:
        for block in blocks:
            if block.info == "console one":
                machine.do(block, same)
            else:
                terminal.do(block, machine.address, same)
    finally:
        terminal.close()
        machine.close()
