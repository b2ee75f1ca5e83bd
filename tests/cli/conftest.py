"""The installed command as a program of its own, with a home of its own, for all tests here."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

COMMAND = Path(sys.executable).parent / ("asleft.exe" if os.name == "nt" else "asleft")


@dataclass(frozen=True)
class Ran:
    """How one run of the command ended."""

    status: int
    out: str
    err: str

    @property
    def json(self) -> dict[str, Any]:
        """Standard output as the one JSON object that it must be."""
        document = json.loads(self.out)
        assert isinstance(document, dict)
        return document

    @property
    def error(self) -> dict[str, Any]:
        """Standard error as the JSON object of an error."""
        document = json.loads(self.err.splitlines()[-1])
        assert document["schema"] == "asleft.error/1"
        assert set(document) == {"schema", "kind", "message", "hint", "where"}
        assert isinstance(document, dict)
        return document


Cli = Callable[..., Ran]


@pytest.fixture
def command() -> str:
    """The installed command's path."""
    return str(COMMAND)


@pytest.fixture
def cli(tmp_path: Path) -> Cli:
    """Run `asleft …` in an empty folder with its own home; never with a terminal."""
    environment = {**os.environ, "ASLEFT_HOME": str(tmp_path / "home"), "PYTHONIOENCODING": "utf-8"}

    def run(*arguments: str, stdin: str = "", **extra: str) -> Ran:
        done = subprocess.run(
            [str(COMMAND), *arguments],
            input=stdin,
            capture_output=True,
            text=True,
            encoding="utf-8",
            cwd=tmp_path,
            env={**environment, **extra},
            timeout=50,
            check=False,
        )
        assert "Traceback" not in done.stderr, done.stderr
        return Ran(done.returncode, done.stdout, done.stderr)

    return run
