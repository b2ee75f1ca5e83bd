"""What the checks of the page stand on: a server process, a visitor over HTTP, hands, figures.

Not for judging; each check does that. The visitor reads sheets as text, as a browser without
script gets them.
"""

from __future__ import annotations

import html
import math
import re
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Self, TypeVar

import httpx2

from asleft.pieces import SpanPiece
from asleft.practice.hands import Hands

T = TypeVar("T")

NAME = "carriage-clock"
SHEET = f"m/{NAME}/"


@dataclass(frozen=True)
class Figure:
    """One line of the table: what was measured, what came, what was aimed at, whether it holds."""

    what: str
    seen: str
    aim: str
    holds: bool


class Served:
    """A server process; `address` is the first line it printed."""

    def __init__(self, home: Path, *arguments: str) -> None:
        self._errors = home.parent / "errors.txt"
        self._command = [sys.executable, "-m", "asleft", "--home", str(home), *arguments]
        self._command.append("--no-browser")
        self.start()

    def start(self) -> None:
        """Start it, or start it again where it was killed."""
        with self._errors.open("ab") as errors:
            self.process = subprocess.Popen(self._command, stdout=subprocess.PIPE, stderr=errors)
        assert self.process.stdout is not None
        self.address = self.process.stdout.readline().decode().strip()
        assert self.address.startswith("http://"), self._errors.read_text()

    @property
    def said(self) -> str:
        """What it wrote beside the address."""
        return self._errors.read_text()

    def kill(self) -> None:
        """As by a crash: no way out is run."""
        self.process.kill()
        self._gone()

    def _gone(self) -> None:
        self.process.wait(30)
        assert self.process.stdout is not None
        self.process.stdout.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        if self.process.poll() is None:
            self.process.terminate()
        self._gone()


class Visitor:
    """A browser without script."""

    def __init__(self, address: str) -> None:
        self.client = httpx2.Client(base_url=address, follow_redirects=True, timeout=60)
        self.html = ""

    def get(self, path: str = "") -> Self:
        """Look at a sheet; asked again where the server is on its way."""
        for last in [False] * 100 + [True]:
            try:
                return self._read(self.client.get(path))
            except httpx2.TransportError:
                if last:
                    raise
                time.sleep(0.05)
        raise AssertionError

    def post(self, path: str, **said: str) -> httpx2.Response:
        """Send a form of ours, and see the sheet that it leads to."""
        reply = self.client.post(path, data={"token": self.token, **said})
        self._read(reply)
        return reply

    def _read(self, reply: httpx2.Response) -> Self:
        self.html = reply.text
        found = re.search(r'name="token" value="(\w+)"', self.html)
        self.token = found[1] if found else getattr(self, "token", "")
        return self

    @property
    def step(self) -> str | None:
        """The key of the present step."""
        return _attribute(self.html, r'data-step="([^"]*)"')

    @property
    def shown(self) -> str | None:
        """What the practice instrument shows."""
        return _attribute(self.html, r'<output class="display">([^<]*)<')

    def now(self) -> Self:
        """Look where the work stands."""
        return self.get(f"{SHEET}now")

    def at_step(self) -> str | None:
        """Look, and tell the step that waits."""
        return self.now().step

    def answer(self, step: str, **said: str) -> httpx2.Response:
        """Answer a step."""
        return self.post(f"{SHEET}answer", step=step, **said)

    def close(self) -> None:
        """Let go of the connection."""
        self.client.close()


def _attribute(text: str, pattern: str) -> str | None:
    found = re.search(pattern, text)
    return html.unescape(found[1]) if found else None


def keep_found(visitor: Visitor, address: str, **more: str) -> None:
    """Describe the machine and keep what it holds."""
    visitor.get().post("machine", name=NAME, address=address, **more)
    visitor.post(f"{SHEET}do/found")
    wait_for(lambda: "On to this evening" in visitor.now().html, 60)


def free_port() -> str:
    """A port that nobody has, so that the page has the same address after it was killed."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return str(probe.getsockname()[1])


def hands_do(hands: Hands, step: str) -> dict[str, str]:
    """What a person's hands do for a step of a feed, and what they then say."""
    if step.endswith(".mark"):
        hands.ask("mark", marked_mm=120.0)
    if step.endswith(".remaining"):
        return {"value": hands.ask("measure_remaining")["text"]}
    return {"answer": "yes"}


def span_reading(step: str, number: int) -> str:
    """A reading that is possible at the place of a span's step, a different one each time."""
    drawn = {place.label: place.nominal_mm for place in SpanPiece().places()}
    return f"{drawn.get(step.rsplit('.', 1)[-1], 20.0) + number / 100:.2f}"


def wait_for(there: Callable[[], T], within_s: float = 30.0) -> T:
    """Wait until `there()` is true; its value."""
    end = time.monotonic() + within_s
    while time.monotonic() < end:
        value = there()
        if value:
            return value
        time.sleep(0.01)
    raise AssertionError("it did not come in time")


def p95(values: Iterable[float]) -> float:
    """The value that 95 of 100 do not pass."""
    ordered = sorted(values)
    return ordered[math.ceil(0.95 * len(ordered)) - 1]


def spread(values: list[float]) -> str:
    """Seconds in ms: middle, 95 of 100, largest, and of how many."""
    middle = sorted(values)[len(values) // 2]
    cells = [f"{value * 1000:.0f}" for value in (middle, p95(values), max(values))]
    return f"median {cells[0]}, p95 {cells[1]}, max {cells[2]} ms of {len(values)}"
