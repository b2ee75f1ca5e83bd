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
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
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
        with contextlib.suppress(OSError):  # a full disk costs the words, not the lock
            self._note.write_text(json.dumps({"pid": os.getpid(), "holder": self._holder}))

    def release(self) -> None:
        """Give the lock back; safe to call twice."""
        if self._lock.is_locked:
            with contextlib.suppress(OSError):
                self._note.unlink(missing_ok=True)
            self._lock.release()

    def _who(self) -> str:
        try:
            note = json.loads(self._note.read_text())
            holder = str(note["holder"])  # whose words may name the process to look for
            return holder if "process" in holder else f"{holder} (process {note['pid']})"
        except (OSError, ValueError, KeyError, TypeError):
            return "another program"
