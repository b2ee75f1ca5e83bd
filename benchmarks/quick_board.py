"""A board on a pseudo-terminal in a process of its own: checks, counts, acknowledges, stamps.

    python -m benchmarks.quick_board NAMED    (the terminal's master is file handle 0)

As quick as Python lets it be, so that it measures who talks to it. It knows a heat-wait (`M109`,
ended by `M108`). Not the practice machine: no physics, no faults.
"""

from __future__ import annotations

import os
import select
import subprocess
import sys
import time
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from functools import reduce
from operator import xor

REPORT = b"T:22.0 /0.0 B:21.0 /0.0"
BUSY_EVERY_S = 0.5
URGENT = (b"M108", b"M410")


@contextmanager
def quick_board(*, named: bool) -> Iterator[tuple[str, subprocess.Popen[bytes]]]:
    """A running board: the path of its port, its process (stamps on standard output).

    Args:
        named: whether an acknowledgement names its line, `ok N41`.
    """
    master, slave = os.openpty()
    tty.setraw(slave)
    command = [sys.executable, "-m", "benchmarks.quick_board", "named" if named else "bare"]
    board = subprocess.Popen(command, stdin=master, stdout=subprocess.PIPE)
    try:
        yield os.ttyname(slave), board
    finally:
        board.terminate()
        board.communicate()
        os.close(master)
        os.close(slave)


class _Board:
    def __init__(self, named: bool) -> None:
        self._named = named
        self._last = 0
        self._held: bytes | None = None  # the acknowledgement that a heat-wait keeps back

    def hear(self, line: bytes) -> bytes:
        """What the board says to one line."""
        number, command = self._last, line
        if line[:1] == b"N":
            body, _, told = line.rpartition(b"*")
            head, _, command = body.partition(b" ")
            number = int(head[1:])
            renumbers = command[:4] == b"M110"
            if reduce(xor, body, 0) != int(told) or (number != self._last + 1 and not renumbers):
                return b"Error:refused\nResend: %d\nok\n" % (self._last + 1)
            self._last = number
        ok = b"ok N%d P7 B2" % number if self._named and line[:1] == b"N" else b"ok"
        if command[:4] in URGENT:
            _stamp(command[:4])
            held, self._held = self._held, None
            return (held or b"") + ok + b"\n"
        if command[:7] in {b"M104 S0", b"M140 S0"}:
            _stamp(command[:7])
        if command[:4] == b"M109":
            self._held = ok + b"\n"
            _stamp(b"M109")
            return b""
        return ok + b" " + REPORT + b"\n" if command[:4] == b"M105" else ok + b"\n"

    def run(self, fd: int) -> None:
        """Until the terminal is gone."""
        rest = b""
        while True:
            if self._held is not None and not select.select([fd], [], [], BUSY_EVERY_S)[0]:
                os.write(fd, b"echo:busy: heating\n")
                continue
            try:
                *lines, rest = (rest + os.read(fd, 4096)).split(b"\n")
            except OSError:
                return
            for line in filter(None, lines):
                if said := self.hear(line):
                    os.write(fd, said)


def _stamp(what: bytes) -> None:
    sys.stdout.buffer.write(b"%d %b\n" % (time.monotonic_ns(), what))
    sys.stdout.buffer.flush()


if __name__ == "__main__":
    _Board(sys.argv[1] == "named").run(0)
