"""A network of our own between a laptop and the server, which can be cut at a commit.

Passes bytes on, one thread a direction, and looks for nothing but the word that commits. It can be
cut before that word went out, once it went out, or once its answer came; then both ends are closed.
"""

from __future__ import annotations

import contextlib
import socket
import threading
from typing import Literal, Self

Moment = Literal["before", "sent", "answered"]
WORD = b"COMMIT"


class Network:
    """Listens on a port of its own and leads to the server's; a context manager."""

    def __init__(self, server_port: int) -> None:
        self._server_port = server_port
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listener.getsockname()[1])
        self._lock = threading.Lock()
        self._pairs: set[tuple[socket.socket, socket.socket]] = set()
        self._cut_at: Moment | None = None
        self._down = False
        self.cuts = 0
        self._moving = threading.Event()
        self._moving.set()
        threading.Thread(target=self._accept, daemon=True).start()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._listener.close()
        self._moving.set()
        self._close_all()

    def cut_at_next_commit(self, moment: Moment, *, stay_down: bool = False) -> None:
        """The next commit does not get through, or its answer does not."""
        with self._lock:
            self._cut_at, self._stay_down = moment, stay_down

    def cut(self) -> None:
        """Cut now, and let nobody through."""
        self._down = True
        self._close_all()

    def freeze(self) -> None:
        """Take everything and pass on nothing, as a tunnel does whose other end is gone."""
        self._moving.clear()

    def thaw(self) -> None:
        """Pass on again, also what was taken meanwhile."""
        self._moving.set()

    def mend(self) -> None:
        """Let everybody through again; a cut that met no commit is called off."""
        with self._lock:
            self._down, self._cut_at = False, None

    def _close_all(self) -> None:
        for pair in list(self._pairs):
            self._close(pair)

    def _close(self, pair: tuple[socket.socket, socket.socket]) -> None:
        self._pairs.discard(pair)
        for end in pair:
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
            end.close()

    def _accept(self) -> None:
        while True:
            try:
                laptop, _ = self._listener.accept()
            except OSError:
                return
            try:
                if self._down:
                    raise OSError("down")
                server = socket.create_connection(("127.0.0.1", self._server_port), 2)
            except OSError:
                laptop.close()
                continue
            server.settimeout(None)
            pair = (laptop, server)
            self._pairs.add(pair)
            answers = threading.Event()  # the answer of a commit is to be swallowed
            for work in (self._out, self._back):
                threading.Thread(target=work, args=(pair, answers), daemon=True).start()

    def _out(self, pair: tuple[socket.socket, socket.socket], swallow: threading.Event) -> None:
        laptop, server = pair
        with contextlib.suppress(OSError):
            while data := laptop.recv(65536):
                moment = self._take() if WORD in data else None
                if moment == "before":
                    break
                if moment == "answered":
                    swallow.set()
                self._moving.wait()
                server.sendall(data)
                if moment == "sent":
                    break
        self._close(pair)

    def _back(self, pair: tuple[socket.socket, socket.socket], swallow: threading.Event) -> None:
        laptop, server = pair
        with contextlib.suppress(OSError):
            while data := server.recv(65536):
                if swallow.is_set():
                    break
                self._moving.wait()
                laptop.sendall(data)
        self._close(pair)

    def _take(self) -> Moment | None:
        with self._lock:
            moment, self._cut_at = self._cut_at, None
            if moment is not None:
                self.cuts += 1
                self._down = self._stay_down
        return moment
