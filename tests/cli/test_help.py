"""Help is complete, at once, and loads nothing heavy."""

from __future__ import annotations

import subprocess
import sys

import pytest

COMMANDS = [
    *(
        "practice",
        "open",
        "ports",
        "machine",
        "instrument",
        "found",
        "conditions",
        "plan",
        "piece",
        "trial",
        "solve",
    ),
    *("set", "prove", "undo", "restore", "allow", "event", "due", "history", "record"),
    *("backup", "store", "restore-store"),
]
PATHS = [
    *("machine describe", "machine list", "machine show"),
    *("instrument describe", "instrument list", "instrument check"),
    *("piece span", "trial feed", "trial span", "solve feed", "solve span"),
    *("solve traverse", "solve bead", "solve fit"),
    *("plan feed", "plan span", "plan traverse", "allow"),
    *("practice", "found", "set", "prove", "undo", "restore", "record"),
    *("backup", "restore-store", "store copy"),
]


def test_lists_every_command_in_the_order_of_an_evening(cli):
    ran = cli("--help")
    assert ran.status == 0 and ran.err == ""
    listed = ran.out.split("Commands:")[1].split("\n  ")[1:]
    assert [line.split()[0] for line in listed] == COMMANDS
    assert max(map(len, ran.out.splitlines())) <= 80


@pytest.mark.parametrize("path", PATHS)
def test_every_command_explains_itself_and_takes_the_shared_options(cli, path):
    ran = cli(*path.split(), "--help")
    assert ran.status == 0
    for option in ("--json", "--home", "--shared-store", "--person", "--machine"):
        assert option in ran.out
    assert max(map(len, ran.out.splitlines())) <= 80


def test_help_imports_nothing_heavy():
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "asleft", "--help"],
        capture_output=True,
        text=True,
        check=True,
    )
    loaded = {line.rsplit("|", 1)[-1].strip().split(".")[0] for line in done.stderr.splitlines()}
    assert "click" in loaded  # the list is one of modules, and not empty
    heavy = {"numpy", "scipy", "sqlalchemy", "alembic", "rich", "serialx", "typst", "manifold3d"}
    assert not loaded & (heavy | {"asyncio", "platformdirs", "logging"})


def test_version_and_no_command(cli):
    assert cli("--version").out.startswith("asleft 0.")
    bare = cli()
    assert bare.status == 2 and bare.out == "" and "Commands:" in bare.err
