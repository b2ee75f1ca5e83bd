"""A client for the practice machine: starts it as a child and does what a person's hands do.

Used by the faces and by tests; it never speaks on the wire. Stands on the child's standard input
and output.
"""

from __future__ import annotations

import contextlib
import json
import subprocess
import sys
import threading
from types import TracebackType
from typing import Any, Self

from asleft.errors import BugError, RefusedError

CLOSE_WITHIN_S = 5.0


class Hands:
    """One practice machine and the hands at it. Use as a context manager.

    Args:
        seed: of everything hidden; None draws one (see `hello["seed"]`).
        kind: one of `asleft.practice.names.KINDS`.
        speed: own seconds per wall second.
        pty: a pseudo-terminal where the system has one, instead of a socket.
    """

    def __init__(
        self,
        seed: int | None = None,
        kind: str = "cartesian",
        speed: float = 60.0,
        *,
        pty: bool = False,
    ) -> None:
        command = [sys.executable, "-m", "asleft.practice", "--as", kind, "--speed", f"{speed:g}"]
        command += [] if seed is None else ["--seed", str(seed)]
        command += ["--pty"] if pty else []
        self._lock, self._number = threading.Lock(), 0
        # A group of its own: an interrupt meant for the person's program is not meant for the
        # machine, which must still hear that its heaters go off.
        self._child = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, **_own_group()
        )
        try:
            self.hello: dict[str, Any] = self._read()
        except BugError:
            self.close()
            raise
        self.address: str = self.hello["address"]

    def ask(self, do: str, **arguments: Any) -> dict[str, Any]:
        """Do one thing and wait for it.

        Returns:
            The reply without `id` and `ok`: `{"text": "20.03"}` for a reading.

        Raises:
            RefusedError: hands cannot do that now; the message says why.
            BugError: the machine's process is gone.
        """
        with self._lock:
            self._number += 1
            request = {"id": self._number, "do": do, **arguments}
            assert self._child.stdin is not None  # noqa: S101 - opened as a pipe above
            try:
                self._child.stdin.write(json.dumps(request) + "\n")
                self._child.stdin.flush()
            except OSError as error:
                raise BugError("the practice machine is gone") from error
            reply = self._read()
        if not reply.pop("ok"):
            raise RefusedError(str(reply["message"]), hint="Do first what it needs.", where=do)
        reply.pop("id")
        return reply

    def close(self) -> None:
        """End the machine's process. May be called twice."""
        for pipe in (self._child.stdin, self._child.stdout):
            if pipe is not None and not pipe.closed:
                with contextlib.suppress(OSError):  # it may be gone already
                    pipe.close()
        try:
            self._child.wait(CLOSE_WITHIN_S)
        except subprocess.TimeoutExpired:
            self._child.kill()
            self._child.wait()

    def _read(self) -> dict[str, Any]:
        assert self._child.stdout is not None  # noqa: S101 - opened as a pipe above
        line = self._child.stdout.readline()
        if not line:
            raise BugError(f"the practice machine ended with status {self._child.wait()}")
        reply: dict[str, Any] = json.loads(line)
        return reply

    def __enter__(self) -> Self:
        """Itself, running."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """End the process, whatever happened."""
        self.close()


def _own_group() -> dict[str, Any]:
    if sys.platform == "win32":
        return {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}
    return {"start_new_session": True}
