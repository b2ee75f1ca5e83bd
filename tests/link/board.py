"""A small board on a real socket or pseudo-terminal that does exactly what a test tells it.

Left alone it is strict and plain: numbers, checksums, resend, ok. It keeps every line with the
time it came. Not the practice machine: no physics, and faults at will.
"""

from __future__ import annotations

import contextlib
import os
import re
import select
import socket
import threading
import time
from collections.abc import Callable

NUMBERED = re.compile(r"N(\d+) (.*)\*(\d+)$")


class Board:
    """Args: `pty` a pseudo-terminal instead of a socket; `banner` said on each connection."""

    def __init__(self, *, pty: bool = False, banner: tuple[str, ...] = ()) -> None:
        self.script: dict[str, Callable[[str], bool | None]] = {}
        self.received: list[tuple[float, str]] = []
        self.banner = banner
        self.deaf = False
        self.report = "T:22.0 /0.0 B:21.0 /0.0 @:0 B@:0"
        self.last = 0
        self.numbered = 0
        self._fd = -1
        self._link: socket.socket | None = None
        self._ended = threading.Event()
        self._slave = -1
        self._server: socket.socket | None = None
        if pty:
            self._fd, self._slave = os.openpty()
            self.address = os.ttyname(self._slave)
            target = self._listen_pty
        else:
            self._server = socket.create_server(("127.0.0.1", 0))
            self._server.settimeout(0.05)
            self.address = f"socket://127.0.0.1:{self._server.getsockname()[1]}"
            target = self._listen_socket
        self._thread = threading.Thread(target=target, daemon=True)
        self._thread.start()

    def commands(self) -> list[str]:
        """What came, without numbers and checksums."""
        return [self.bare(line) for _, line in self.received]

    @staticmethod
    def bare(line: str) -> str:
        match = NUMBERED.match(line)
        return match[2] if match else line

    def when(self, command: str) -> float:
        """The time at which a command first came."""
        return next(t for t, line in self.received if self.bare(line) == command)

    def say(self, *lines: str) -> None:
        self.raw("".join(f"{line}\n" for line in lines).encode())

    def raw(self, data: bytes) -> None:
        with contextlib.suppress(OSError):
            if self._link is not None:
                self._link.sendall(data)
            elif self._fd >= 0:
                os.write(self._fd, data)

    def restart(self, *lines: str) -> None:
        self.last = 0
        self.say(*(lines or ("start", "echo:Build 7", "echo: Free Memory: 4096")))

    def unplug(self) -> None:
        """Pull the cable; a socket can be connected again, a pseudo-terminal is gone."""
        link, self._link = self._link, None
        if link is not None:
            link.close()
        for fd in (self._slave, self._fd):
            if fd >= 0:
                os.close(fd)
        self._fd = self._slave = -1

    def end(self) -> None:
        self._ended.set()
        self._thread.join(5)
        self.unplug()
        if self._server is not None:
            self._server.close()

    def _listen_socket(self) -> None:
        assert self._server is not None
        while not self._ended.is_set():
            try:
                self._link, _ = self._server.accept()
            except TimeoutError:
                continue
            self._link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._link.setblocking(True)
            if self.banner:
                self.restart(*self.banner)
            self._hear(self._link.fileno(), self._link.recv)
            self.unplug()

    def _listen_pty(self) -> None:
        self._hear(self._fd, lambda n: os.read(self._fd, n))

    def _hear(self, fd: int, read: Callable[[int], bytes]) -> None:
        rest = b""
        while not self._ended.is_set():
            try:
                if not select.select([fd], [], [], 0.05)[0]:
                    continue
                data = read(4096)
            except (OSError, ValueError, AttributeError):
                return
            if not data:
                return
            *lines, rest = (rest + data).split(b"\n")
            for line in lines:
                self._obey(line.decode("ascii", "replace").strip())

    def _obey(self, line: str) -> None:
        if not line:
            return
        self.received.append((time.monotonic(), line))
        if self.deaf:
            return
        command = self.bare(line)
        if not self._counts(line, command):
            return
        act = self.script.get(command) or self.script.get(command.split()[0])
        if act is not None and act(line) is not False:
            return
        self.say(f"ok {self.report}" if command == "M105" else "ok")

    def _counts(self, line: str, command: str) -> bool:
        """Whether number and checksum are right; else it asks again and says ok, as many do."""
        match = NUMBERED.match(line)
        if match is None:
            return True
        body = line[: line.rindex("*")].encode()
        checksum = 0
        for byte in body:
            checksum ^= byte
        number = int(match[1])
        wrong = checksum != int(match[3])
        if wrong or (number != self.last + 1 and not command.startswith("M110")):
            self.say("Error:line refused", f"Resend: {self.last + 1}", "ok")
            return False
        self.last = number
        self.numbered += 1
        return True
