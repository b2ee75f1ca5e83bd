"""The page about walls and fits, done as it is written: its files, its commands, what they show."""

from __future__ import annotations

import os
import shlex
import subprocess
import sys
from pathlib import Path

FOLDER = Path(sys.executable).parent
COMMAND = FOLDER / ("asleft.exe" if os.name == "nt" else "asleft")


def test_every_command_of_the_page_prints_what_it_shows(tmp_path, page, same):
    environment = {**os.environ, "ASLEFT_HOME": str(tmp_path / "home"), "PYTHONIOENCODING": "utf-8"}
    commands = 0
    for block in page("walls-and-fits.md"):
        if block.info == "csv":
            name = block.lines[0].removeprefix("# ")
            (tmp_path / name).write_text(block.text + "\n", encoding="utf-8")
        for step in block.text.split("$ ")[1:] if block.info == "console" else ():
            command, _, shown = step.partition("\n")
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
            same(shown, done.stdout, command)
            commands += 1
    assert commands >= 8
