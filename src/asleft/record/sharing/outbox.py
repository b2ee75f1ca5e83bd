"""What waits on this computer for a store that is away: files that only grow, one for each trial.

Every line is on the disk before anybody is told that it is kept. A file is emptied once all of it
came in; a kill in between delivers it again, which tokens make harmless. Knows no database.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from asleft.record.backup import to_disk

if TYPE_CHECKING:
    from filelock import BaseFileLock

Entry = dict[str, Any]
FOLDER = "outbox"
ASIDE = "aside.jsonl"
"""What came too late to matter: somebody else had done the step anew."""


class Lane:
    """The file of one trial (or one machine's wire logs). Hold `lock` while using it."""

    def __init__(self, path: Path) -> None:
        from filelock import FileLock

        self.path = path
        self.lock: BaseFileLock = FileLock(f"{path}.lock")

    def append(self, entry: Entry) -> None:
        """Write one line and see it on the disk.

        Raises:
            OSError: the disk is full, say; the line is not there.
        """
        new = not self.path.exists()
        with self.path.open("ab") as file:
            end = file.seek(0, os.SEEK_END)
            file.truncate(whole := self._whole(end))
            file.seek(whole)
            try:
                file.write(_line(entry))
                file.flush()
                os.fsync(file.fileno())
            except OSError:
                file.truncate(whole)
                raise
        if new:
            to_disk(self.path.parent)

    def waiting(self) -> list[Entry]:
        """What waits, oldest first; a line that a kill cut short was promised to nobody."""
        try:
            lines = self.path.read_bytes().split(b"\n")
        except FileNotFoundError:
            return []
        return [json.loads(line) for line in lines[:-1] if line]

    def clear(self) -> None:
        """All of it came in."""
        if self.path.exists():
            with self.path.open("r+b") as file:
                file.truncate(0)
                file.flush()
                os.fsync(file.fileno())

    def keep(self, rest: list[Entry]) -> None:
        """Only these wait still; what went before came in."""
        beside = self.path.with_suffix(".part")
        with beside.open("wb") as file:
            file.writelines(map(_line, rest))
            file.flush()
            os.fsync(file.fileno())
        beside.replace(self.path)
        to_disk(self.path.parent)

    def _whole(self, end: int) -> int:
        """Where the last whole line ends."""
        if end == 0:
            return 0
        return self.path.read_bytes().rfind(b"\n") + 1


def _line(entry: Entry) -> bytes:
    return json.dumps(entry, ensure_ascii=False).encode() + b"\n"


class Outbox:
    """The lanes of one home."""

    def __init__(self, home: Path) -> None:
        self._folder = home / FOLDER

    def lane(self, name: str) -> Lane:
        """The lane of a name, made when it is first written to."""
        self._folder.mkdir(parents=True, exist_ok=True)
        return Lane(self._folder / f"{name}.jsonl")

    def lanes(self) -> Iterator[Lane]:
        """The lanes in which something waits."""
        if self._folder.is_dir():
            for path in sorted(self._folder.glob("*.jsonl")):
                if path.name != ASIDE and path.stat().st_size:
                    yield Lane(path)

    def put_aside(self, entry: Entry) -> None:
        """Keep what came too late."""
        aside = Lane(self._folder / ASIDE)
        with aside.lock:
            aside.append(entry)
