"""One owner per machine: a lock on the resolved port or host:port, and a note of who holds it.

The system releases the lock when its process ends, however it ends; the note beside it is only
for the words. It knows no line: whoever opens one takes the lock first.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import socket
import tempfile
from hashlib import sha256
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from asleft.errors import LineError


def resolve(address: str) -> str:
    """The name under which an address is locked: one machine, one name.

    Links to a serial port (`/dev/serial/by-id/…`) become the port; host names become numbers.
    """
    if "://" in address:
        parts = urlsplit(address)
        host = parts.hostname or ""
        with contextlib.suppress(OSError):  # opening will say so in its own words
            host = str(socket.getaddrinfo(host, parts.port, type=socket.SOCK_STREAM)[0][4][0])
        return f"{host}:{parts.port}"
    if address.upper().startswith("COM"):
        return address.upper()
    return os.path.realpath(address)


def runtime_folder() -> Path:
    """Where this person's locks live; the system's folder for temporary files as a last resort."""
    from platformdirs import user_runtime_path

    for folder in (user_runtime_path("asleft"), Path(tempfile.gettempdir()) / "asleft-locks"):
        try:
            for one in (folder.parent, folder):  # one that others may read is not used again
                one.mkdir(parents=True, exist_ok=True, mode=0o700)
        except OSError:
            continue
        if os.access(folder, os.W_OK):
            return folder
    raise LineError("no folder for locks can be written", where=tempfile.gettempdir())


class LineLock:
    """The lock on one machine's line.

    Args:
        address: as the person gave it.
        holder: who holds it, in words for whoever comes second (a page's address).
    """

    def __init__(self, address: str, holder: str, folder: Path | None = None) -> None:
        from filelock import FileLock

        self.address = address
        self._holder = holder
        name = resolve(address)
        readable = re.sub(r"[^A-Za-z0-9]+", "-", name).strip("-")[-40:]
        stem = f"{readable}-{sha256(name.encode()).hexdigest()[:8]}"
        folder = folder or runtime_folder()
        self._lock = FileLock(folder / f"{stem}.lock")
        self._note = folder / f"{stem}.json"
        self.left_hot = False  # the last holder was killed while it heated
        self._is_hot = False

    def take(self) -> None:
        """Take the lock and say who has it.

        Raises:
            LineError: another program holds it; the message names it.
        """
        from filelock import Timeout

        try:
            self._lock.acquire(timeout=0)
        except Timeout:
            raise LineError(
                f"the machine is held by {self._who()}",
                hint="Use that program, or close it first.",
                where=self.address,
            ) from None
        self.left_hot = self._is_hot = self._read().get("hot") is True
        self._write()

    def mark_hot(self, hot: bool) -> None:
        """Leave word for the next holder, who finds it only where this one cannot take it back."""
        if hot != self._is_hot:
            self._is_hot = hot
            self._write()

    def release(self) -> None:
        """Give the lock back; safe to call twice. What is still hot remains said."""
        if self._lock.is_locked:
            if not self._is_hot:
                with contextlib.suppress(OSError):
                    self._note.unlink(missing_ok=True)
            self._lock.release()

    def _write(self) -> None:
        """Whole or not at all; a full disk costs the words, not the lock."""
        note = json.dumps({"pid": os.getpid(), "holder": self._holder, "hot": self._is_hot})
        new = self._note.with_suffix(".new")
        with contextlib.suppress(OSError):
            new.write_text(note, encoding="utf-8")
            try:
                new.replace(self._note)
            except PermissionError:  # Windows, while somebody reads it: that it is hot must be said
                self._note.write_text(note, encoding="utf-8")

    def _read(self) -> dict[str, Any]:
        try:
            note = json.loads(self._note.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return {}
        return note if isinstance(note, dict) else {}

    def _who(self) -> str:
        note = self._read()
        if "holder" not in note:
            return "another program"
        holder = str(note["holder"])  # whose words may name the process to look for
        return holder if "process" in holder else f"{holder} (process {note.get('pid')})"
