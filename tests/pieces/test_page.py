"""The page about the pieces, done as it is written."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

PAGE = Path(__file__).resolve().parents[2] / "docs" / "pieces.md"
COMMAND = Path(sys.executable).parent / ("asleft.exe" if os.name == "nt" else "asleft")


def pattern(shown: str) -> re.Pattern[str]:
    """What the page shows; a line `…` stands for any lines, `…` in a line for anything in it."""
    whole = ""
    for line in shown.rstrip("\n").split("\n"):
        if line == "…":
            whole += r"(?:[^\n]*\n)*?"
        else:
            whole += "[^\n]*?".join(re.escape(part) for part in line.split("…")) + r"\n"
    return re.compile(whole)


def test_every_command_of_the_page_prints_what_it_shows(tmp_path):
    blocks = re.findall(r"```console\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)
    steps = [step for block in blocks for step in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]]
    assert len(steps) >= 3
    environment = {**os.environ, "ASLEFT_HOME": str(tmp_path / "home"), "PYTHONIOENCODING": "utf-8"}
    for step in steps:
        command, shown = step.split("\n", 1)
        done = subprocess.run(
            [str(COMMAND), *shlex.split(command)[1:]],
            capture_output=True,
            text=True,
            encoding="utf-8",
            cwd=tmp_path,
            env=environment,
            timeout=50,
            check=False,
        )
        assert done.returncode == 0, done.stderr
        assert pattern(shown).fullmatch(done.stdout), f"{command}\n{done.stdout}"
