"""What is on at each machine, in one small file: enough to go on after the server was killed.

Which job, with what options, which parts of an evening are done. Readings, trials and changes are
never kept here: the store has them. Stands on nothing.
"""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Literal

State = Literal["idle", "running", "stopped", "failed", "done"]


@dataclass
class Doing:
    """One job. `number` grows with every job, `takes` with every reading taken back."""

    number: int = 0
    job: str = ""
    options: dict[str, Any] = field(default_factory=dict)
    part: str = ""
    done: dict[str, Any] = field(default_factory=dict)
    takes: int = 0
    state: State = "idle"
    error: dict[str, Any] | None = None

    @property
    def prefix(self) -> str:
        """What makes a step of this job different from the same step of another one."""
        return f"{self.number}.{self.takes}.{self.part.replace(' ', '-')}."


class Memory:
    """The file of one machine."""

    def __init__(self, home: Path, machine: str) -> None:
        name = hashlib.sha256(machine.encode()).hexdigest()[:16]
        self._path = home / "page" / f"{name}.json"

    def load(self) -> Doing:
        """What was on, or nothing where the file is missing or not ours."""
        try:
            return Doing(**json.loads(self._path.read_text(encoding="utf-8")))
        except (OSError, ValueError, TypeError):
            return Doing()

    def save(self, doing: Doing) -> None:
        """Keep it: whole or not at all."""
        write_whole(self._path, json.dumps(asdict(doing)))


def write_whole(path: Path, text: str) -> None:
    """Write a small file for its owner's eyes alone, then put it in place of the old one."""
    path.parent.mkdir(parents=True, exist_ok=True)
    beside = path.with_suffix(".part")
    number = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with open(number, "w", encoding="utf-8") as file:  # noqa: PTH123 - by its number
        file.write(text)
    beside.replace(path)
