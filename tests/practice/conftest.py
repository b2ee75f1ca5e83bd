"""A practice machine as a child process, and a raw client that knows bytes only."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Callable, Iterator
from functools import cache
from typing import Any

import pytest

from asleft.cli.practice_card import card_text
from asleft.pieces import BeadPiece, FitPiece, SpanPiece
from asleft.practice import Hands
from asleft.practice.board.card import CardPrint, print_card
from asleft.practice.body.track import Moves
from asleft.practice.clock import Clock
from asleft.practice.words.kinds import KINDS
from asleft.practice.workshop import Workshop

KIND = KINDS["cartesian"]


class RawClient:
    """Bytes out, lines in; the checksum is written here anew, not taken from the machine."""

    def __init__(self, address: str) -> None:
        host, port = address.removeprefix("socket://").split(":")
        self._socket = socket.create_connection((host, int(port)), timeout=10)
        self._file = self._socket.makefile("rb")

    def send(self, data: bytes) -> None:
        self._socket.sendall(data)

    def line(self) -> str:
        return self._file.readline().decode().rstrip("\r\n")

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


@cache
def card(piece: SpanPiece | BeadPiece | FitPiece) -> str:
    """The file that its owner puts on the card."""
    name = {SpanPiece: "span", BeadPiece: "bead", FitPiece: "fit"}[type(piece)]
    return card_text(name, piece.to_dict(), KIND.owner_knows())


@cache
def executed(text: str) -> tuple[Moves, CardPrint, dict[str, Any]]:
    """What a controller whose extruder is true made of a file, and how its heaters stand."""

    async def run() -> tuple[Moves, CardPrint, dict[str, Any]]:
        workshop = Workshop(seed=1, kind=KIND, clock=Clock(300))
        workshop.board.start()
        await workshop.booted()
        steps = workshop.board.settings.in_force["M92"]
        steps["E"] = workshop.hidden.true_steps_per_mm["E"]
        told = await print_card(workshop.board, text)
        await workshop.board.stop()
        return workshop.track.moves(), told, workshop.peek_heaters()

    return asyncio.run(run())


@pytest.fixture(name="card", scope="session")
def _card() -> Callable[..., str]:
    return card


@pytest.fixture(name="executed", scope="session")
def _executed() -> Callable[[str], tuple[Moves, CardPrint, dict[str, Any]]]:
    return executed


@pytest.fixture
def start() -> Iterator[Callable[..., Bench]]:
    """Start machines; all are ended afterwards."""
    benches: list[Bench] = []

    def make(seed: int = 1, speed: float = 300, kind: str = "cartesian") -> Bench:
        benches.append(Bench(Hands(seed, kind, speed)))
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
