"""A practice machine as a child process, and a raw client that knows bytes only."""

from __future__ import annotations

import socket
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from asleft.practice import Hands


class RawClient:
    """Bytes out, lines in; the checksum is written here anew, not taken from the machine."""

    def __init__(self, address: str) -> None:
        host, port = address.removeprefix("socket://").split(":")
        self._socket = socket.create_connection((host, int(port)), timeout=10)
        self._file = self._socket.makefile("rb")

    def send(self, data: bytes) -> None:
        self._socket.sendall(data)

    def line(self) -> str:
        return self._file.readline().decode().rstrip("\n")

    def ask(self, command: str) -> list[str]:
        """One command; all lines up to its acknowledgement."""
        self.send(command.encode() + b"\n")
        return self.until_ok()

    def until_ok(self) -> list[str]:
        lines = [self.line()]
        while lines[-1].split(" ")[0] != "ok":
            assert lines[-1] or len(lines) < 3, "the line is closed"
            lines.append(self.line())
        return lines

    def close(self) -> None:
        self._file.close()
        self._socket.close()


class Bench:
    def __init__(self, hands: Hands) -> None:
        self.hands, self.wire = hands, RawClient(hands.address)

    def ask(self, command: str) -> list[str]:
        return self.wire.ask(command)

    def do(self, name: str, **arguments: Any) -> dict[str, Any]:
        return self.hands.ask(name, **arguments)


def numbered(number: int, command: str) -> str:
    text, total = f"N{number} {command}", 0
    for character in text:
        total ^= ord(character)
    return f"{text}*{total}"


@pytest.fixture
def start() -> Iterator[Callable[..., Bench]]:
    """Start machines; all are ended afterwards."""
    benches: list[Bench] = []

    def make(seed: int = 1, speed: float = 300) -> Bench:
        benches.append(Bench(Hands(seed, speed=speed)))
        return benches[-1]

    yield make
    for bench in benches:
        bench.wire.close()
        bench.hands.close()


@pytest.fixture
def bench(start: Callable[..., Bench]) -> Bench:
    return start()


@pytest.fixture(name="numbered")
def _numbered() -> Callable[[int, str], str]:
    return numbered
