"""One connection to the process that owns a line: requests out, replies in, errors raised here.

Not for starting that process (`line`) or for what it does with a request (`owner`). Blocking, but
never for so long that a stop goes unheard.
"""

from __future__ import annotations

import contextlib
import json
import math
import socket
import threading
import time
from typing import Any

from asleft import errors
from asleft.errors import AsleftError, LineError
from asleft.link.platform import LONGEST_DEAF_WAIT_S

HELLO_WITHIN_S = 30.0

_OWNER_GONE = "If the machine may be hot, switch it off at its power switch, then connect again."


class Channel:
    """Requests and replies in turn over one socket of the owner."""

    def __init__(self, connection: socket.socket) -> None:
        self._socket = connection
        self._rest = b""
        self._number = 0
        self.lock = threading.Lock()

    def ask(self, do: str, *, patience_s: float | None = None, **arguments: Any) -> Any:
        """One request, its result. Replies to requests that an interrupt left are passed over."""
        self._number += 1
        request = {"id": self._number, "do": do, **arguments}
        try:
            self._socket.settimeout(patience_s)
            self._socket.sendall(json.dumps(request).encode("ascii") + b"\n")
            return self.reply(self._number, patience_s=patience_s)
        except TimeoutError as error:
            raise LineError(
                f"no word within {patience_s:g} s from the process that holds the line"
            ) from error
        except OSError as error:
            raise LineError("the process that holds the line is gone", hint=_OWNER_GONE) from error

    def reply(self, number: int, *, patience_s: float | None = None) -> Any:
        """The result of request `number`, or its error raised.

        `patience_s` is how long the owner may be silent, None for as long as it lives.
        """
        while True:
            reply = self._next_reply(patience_s)
            if reply.get("id") != number:
                continue
            if "error" in reply:
                raise _error_of(reply["error"])
            return reply["result"]

    def hello(self) -> dict[str, Any]:
        """The first line of a connection: its token and name."""
        return self._next_reply(HELLO_WITHIN_S)

    def _next_reply(self, patience_s: float | None) -> dict[str, Any]:
        while True:
            line, end, rest = self._rest.partition(b"\n")
            if not end:
                chunk = self._receive(patience_s)
                if not chunk:
                    raise LineError("the process that holds the line is gone", hint=_OWNER_GONE)
                self._rest += chunk
                continue
            self._rest = rest
            with contextlib.suppress(ValueError):  # torn by an interrupt
                values = json.loads(line)
                if isinstance(values, dict):
                    return values

    def _receive(self, patience_s: float | None) -> bytes:
        """What comes next, awaited in pieces where the system hears no Ctrl-C in a wait."""
        end_s = math.inf if patience_s is None else time.monotonic() + patience_s
        while (left_s := end_s - time.monotonic()) > 0:
            piece_s = min(left_s, LONGEST_DEAF_WAIT_S)
            self._socket.settimeout(None if math.isinf(piece_s) else piece_s)
            with contextlib.suppress(TimeoutError):
                return self._socket.recv(65536)
        raise TimeoutError

    def close(self) -> None:
        """Give the socket back."""
        self._socket.close()


def _error_of(told: dict[str, Any]) -> AsleftError:
    kind = getattr(errors, str(told["type"]), errors.BugError)
    error: AsleftError = kind(told["message"], hint=told["hint"], where=told["where"])
    return error
