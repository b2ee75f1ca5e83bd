"""Each hazard names a test that exists and a caution that the program really has."""

from __future__ import annotations

import ast
import os
import re
import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

import asleft
from asleft.practice.hands import Hands

ROOT = Path(__file__).resolve().parents[2]
PAGE = Path(asleft.__file__).parent / "page"


@pytest.fixture
def rows(docs) -> list[list[str]]:
    """The table without its head: hazard, caution, interlock, tests."""
    lines = (docs / "safety.md").read_text(encoding="utf-8").splitlines()
    table = [line for line in lines if line.startswith("|")][2:]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in table]


def texts_of_the_program() -> str:
    """Every text in the package as the program would write it, one a line."""
    found = []
    for path in Path(asleft.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str | bytes):
                text = node.value if isinstance(node.value, str) else node.value.decode("latin-1")
                found.append(" ".join(text.split()))
    for path in (*PAGE.rglob("*.html"), *PAGE.rglob("*.js")):
        found += [" ".join(line.split()) for line in path.read_text("utf-8").splitlines()]
    return "\n".join(found)


def functions(path: Path) -> set[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}


def test_every_row_is_whole(rows):
    assert len(rows) > 15
    for row in rows:
        assert len(row) == 4 and all(row), row


def test_every_test_that_is_named_exists(rows):
    for row in rows:
        named = re.findall(r"`(tests/[\w/]+\.py)::(\w+)`", row[3])
        assert named, row[0]
        for file, function in named:
            assert function in functions(ROOT / file), f"{row[0]}: {file}::{function}"


def test_every_caution_that_is_quoted_is_said_by_the_program(rows):
    said = texts_of_the_program()
    for row in rows:
        for quoted in re.findall(r'"([^"]+)"', row[1]):
            assert quoted in said, f"{row[0]}: {quoted}"


def test_every_failure_that_a_how_to_explains_is_told_so_by_the_program(docs):
    said = texts_of_the_program()
    page = (docs / "how-to" / "when-the-line-fails.md").read_text(encoding="utf-8")
    quoted = re.findall(r'"([^"]+)"', page)
    assert len(quoted) > 10
    assert not [text for text in quoted if text not in said]


def test_the_pages_caution_where_it_gets_hot_or_moves(docs):
    tutorial = (docs / "tutorial.md").read_text(encoding="utf-8")
    for step in ("asleft trial feed --temperature", "asleft set --from-findings --store --machine"):
        before = tutorial[: tutorial.index(f"$ {step}")].rsplit("```", 2)[1]
        assert "**Caution.**" in before, step
    assert "**Caution.**" in (docs / "library.md").read_text(encoding="utf-8")


def test_a_machine_found_hot_is_left_alone_unless_a_person_says_that_it_is_idle(tmp_path):
    command = Path(sys.executable).parent / ("asleft.exe" if os.name == "nt" else "asleft")

    def left_hot_after(*words: str) -> bool:
        subprocess.run(
            [command, "--home", tmp_path, *words, "--port", hands.address],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=50,
            check=False,
        )
        return bool(hands.ask("peek_heaters")["on"])

    with Hands(12, speed=300) as hands:
        host, port = hands.address.removeprefix("socket://").split(":")
        with socket.create_connection((host, int(port)), timeout=5) as somebody_else:
            somebody_else.sendall(b"M104 S200\n")
            assert somebody_else.recv(100)
        until_s = time.monotonic() + 10
        while not hands.ask("peek_heaters")["on"]:
            assert time.monotonic() < until_s
        assert left_hot_after("found")
        assert left_hot_after("set", "E=95", "--yes")  # whether it is idle, only a person knows
