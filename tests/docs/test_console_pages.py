"""Pages of commands, done as they are written; and every other command that a page shows exists.

A block `console` is run without a terminal (a person's yes is given by `--yes`), `console at the
machine` needs somebody there and is held against the commands there are, as is every line of a page
that begins with `asleft`. The two evenings have tests of their own.
"""

from __future__ import annotations

import contextlib
import re
import shlex
from pathlib import Path

import click
import pytest

from asleft.cli.app import app
from asleft.practice.hands import Hands

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
ADDRESS_SHOWN = "socket://127.0.0.1:40123"
ASKS = {"set", "undo", "restore", "prove"}
PAGES = sorted(
    path
    for path in DOCS.rglob("*.md")
    if path.name not in ("tutorial.md", "own-machine.md", "pieces.md")
    and re.search(r"^```console$", path.read_text(encoding="utf-8"), flags=re.M)
)


def steps(text: str) -> list[tuple[list[str], str]]:
    """Each command of a block with the output shown below it."""
    parts = [step.partition("\n") for step in text.split("$ ")[1:]]
    return [(shlex.split(command), shown) for command, _, shown in parts]


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.stem)
def test_every_command_of_a_page_prints_what_it_shows(path, page, same, shell):
    with contextlib.ExitStack() as stack:
        address = ""
        if ADDRESS_SHOWN in path.read_text(encoding="utf-8"):
            address = stack.enter_context(Hands(12, speed=2000)).address
        for block in page(path.relative_to(DOCS).as_posix()):
            if block.info == "csv":
                shell.keep(block)
            for words, shown in steps(block.text) if block.info == "console" else ():
                yes = ["--yes"] if words[1] in ASKS and address else []
                typed = [word.replace(ADDRESS_SHOWN, address) for word in words[1:]]
                status, out, err = shell(*typed, *yes)
                assert status == 0, f"{path.name}: {words}\n{err}"
                same(shown, out, f"{path.name}: {words}")


def shown_commands() -> list[tuple[str, list[str]]]:
    """Every line of a page, the first page too, that shows a command of ours."""
    found = []
    for path in (ROOT / "README.md", *DOCS.rglob("*.md")):
        if "decisions" in path.parts or path.name == "reference.md":
            continue
        text = path.read_text(encoding="utf-8")
        lines = re.findall(r"^(?:\$ |    )(asleft .*)$", text, flags=re.M)
        lines += re.findall(r"`(asleft [^`…]*)`", text)
        found += [(path.name, shlex.split(line, comments=True)) for line in lines]
    return found


def test_every_command_that_is_shown_exists_with_its_options():
    shown = shown_commands()
    assert len(shown) > 80
    wrong = []
    for name, words in shown:
        command, context = app, click.Context(app, info_name="asleft")
        rest = list(words[1:])
        everywhere = {o for p in app.get_params(context) for o in p.opts} | {"--help", "--version"}
        options = set(everywhere)
        while rest:
            word = rest.pop(0)
            if word.startswith("--"):
                continue
            below = command.get_command(context, word) if isinstance(command, click.Group) else None
            if below is None:
                continue
            command, context = below, click.Context(below, parent=context, info_name=word)
            options |= {
                o for p in command.get_params(context) for o in (*p.opts, *p.secondary_opts)
            }
        if command is app and not (set(words[1:]) & everywhere):
            wrong.append(f"{name}: {' '.join(words)}: no such command")
        given = {w.partition("=")[0] for w in words if w.startswith("--")}
        wrong += [f"{name}: {' '.join(words)}: {o}" for o in sorted(given - options)]
    assert not wrong, "\n".join(wrong)
