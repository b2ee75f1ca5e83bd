"""A real database server on a private port, started as an ordinary user, to be killed and started.

It is killed as a process: what it had handed to the system stays, so fsync, which is for power
failures, is off and makes a start quick. All else is as by default.
"""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import tempfile
import time
from pathlib import Path
from types import TracebackType
from typing import Self

READY_S = 30.0


class Server:
    """One server in a folder of its own; a context manager."""

    def __init__(self) -> None:
        for folder in sorted(Path("/usr/lib/postgresql").glob("*/bin")):
            os.environ["PATH"] = f"{folder}{os.pathsep}{os.environ['PATH']}"
        self._user = "postgres" if os.geteuid() == 0 else None  # root may not run one
        self._folder = tempfile.TemporaryDirectory(prefix="asleft-sharing-")
        self._home = Path(self._folder.name)
        self.port = free_port()
        self._process: subprocess.Popen[bytes] | None = None

    def __enter__(self) -> Self:
        if self._user:
            shutil.chown(self._home, self._user)
        command = ["initdb", "-D", self._home / "data", "-A", "trust", "-U", "bench", "--no-sync"]
        subprocess.run(command, user=self._user, cwd=self._home, check=True, capture_output=True)
        self.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._process is not None:
            self._process.send_signal(signal.SIGINT)
            self._process.wait(READY_S)
        self._folder.cleanup()

    def start(self) -> None:
        """Start it, and return once it answers."""
        options = [
            "-k",
            self._home,
            "-p",
            self.port,
            "-c",
            "listen_addresses=127.0.0.1",
            "-c",
            "fsync=off",
        ]
        self._process = subprocess.Popen(
            ["postgres", "-D", self._home / "data", *map(str, options)],
            user=self._user,
            cwd=self._home,
            stderr=subprocess.DEVNULL,
        )
        import psycopg

        for _ in range(int(READY_S / 0.05)):
            try:
                psycopg.connect(self._address(self.port), connect_timeout=2).close()
                return
            except psycopg.OperationalError:
                time.sleep(0.05)
        raise RuntimeError("the server does not answer")

    def readings(self, database: str) -> int:
        """How many readings a store has now."""
        import psycopg

        where = self._address(self.port).replace("dbname=postgres", f"dbname={database}")
        with psycopg.connect(where) as connection:
            found = connection.execute("SELECT count(*) FROM reading").fetchone()
        return int(found[0]) if found else 0

    def kill(self) -> None:
        """End all of it at once, without a word to anybody and without tidying up."""
        assert self._process is not None
        self._process.send_signal(signal.SIGQUIT)  # what the server calls immediate
        self._process.wait(READY_S)

    def url(self, port: int | None = None, database: str = "postgres") -> str:
        """The store's address, by this port or by another one that leads here."""
        return f"postgresql://bench@127.0.0.1:{port or self.port}/{database}"

    def _address(self, port: int) -> str:
        return f"host=127.0.0.1 port={port} user=bench dbname=postgres"

    def database(self, name: str) -> str:
        """A new empty database; its name."""
        import psycopg

        with psycopg.connect(self._address(self.port), autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name}".encode())
        return name


def free_port() -> int:
    """A port on loopback that nobody has now."""
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        return int(held.getsockname()[1])
