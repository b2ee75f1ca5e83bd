"""Any course of questions, moves, stops and faults: done at most once a sending, and in order.

A state machine drives the conversation against a model board that drops, corrupts, doubles, refuses
and garbles, in one process and on a clock of its own, so that time-outs cost nothing. Which faults
there are is common practice, no source.
"""

from __future__ import annotations

import asyncio
import itertools
import selectors
import tempfile
from collections import deque
from pathlib import Path
from unittest import mock

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule

from asleft.errors import LineError, Stopped
from asleft.link.conversation import Conversation
from asleft.link.framing import checksum
from asleft.link.wire import Wire
from asleft.link.wirelog import WireLog

TO_BOARD = ("drop", "corrupt", "refuse")
TO_US = ("lose ok", "double ok", "double ok later", "garble ok")
LATER_S = 0.002  # within the quiet before a question; later, only a number tells them apart


class OwnTime(selectors.SelectSelector):
    """Waiting passes at once, on a clock that nobody else has."""

    now_s = 1000.0

    def select(self, timeout: float | None = None) -> list[tuple[selectors.SelectorKey, int]]:
        ready = super().select(0)
        assert ready or timeout is not None, "everybody waits for everybody"
        if not ready and timeout:
            self.now_s += timeout
        return ready


class ModelBoard:
    """A transport whose far end is a strict board; the next faults strike line by line."""

    is_socket, rate_baud = True, None

    def __init__(self, named: bool) -> None:
        self.named = named
        self.faults: deque[str] = deque()
        self.done: list[str] = []
        self.sent: list[str] = []
        self.last = 0
        self._said: asyncio.Queue[bytes] = asyncio.Queue()
        self._rest = b""

    async def open(self) -> None: ...
    async def close(self) -> None: ...
    async def set_rate(self, rate_baud: int) -> None: ...

    def describe(self) -> str:
        return "a model"

    async def read(self) -> bytes:
        return await self._said.get()

    def write(self, data: bytes) -> None:
        *lines, self._rest = (self._rest + data).split(b"\n")
        for line in filter(None, lines):
            self.sent.append(bare(line))
            self._hear(line, self.faults.popleft() if self.faults else "")

    def _hear(self, line: bytes, fault: str) -> None:
        if fault == "drop":
            return
        if fault == "corrupt":
            line = line[:-1] + bytes([line[-1] ^ 1])
        numbered = line.startswith(b"N") and b"*" in line
        number = int(line[1:].split()[0]) if numbered else self.last
        body, _, told = line.rpartition(b"*")
        wrong = numbered and told != b"%d" % checksum(body)
        out = numbered and number != self.last + 1 and not bare(line).startswith("M110")
        if wrong or out or (fault == "refuse" and numbered):
            self._say(b"Error:not taken\nResend: %d\nok\n" % (self.last + 1))
            return
        self.last = number
        self.done.append(bare(line))
        self._answer(bare(line), number, fault)

    def _answer(self, command: str, number: int, fault: str) -> None:
        name = b" N%d" % number if self.named else b""
        said = command.rsplit(maxsplit=1)[-1].encode() if command.startswith("M118") else b""
        said = b"T:20.0 /0.0" if command == "M105" else said
        ok = b"ok%b %b\n" % (name, said)
        if fault == "garble ok":
            ok = b"o\xff" + ok[2:]
        if fault != "lose ok":
            self._say(ok)
        if fault == "double ok":
            self._say(ok)
        if fault == "double ok later":
            asyncio.get_running_loop().call_later(LATER_S, self._say, ok)

    def _say(self, data: bytes) -> None:
        self._said.put_nowait(data)


def bare(line: bytes) -> str:
    """A line without number and checksum."""
    text = line.decode("ascii", "replace")
    return text.split(" ", 1)[1].rpartition("*")[0] if text.startswith("N") else text


class Course(RuleBasedStateMachine):
    """Questions `M118 k`, moves `G1 Ek`, with k counting up."""

    @initialize(named=st.booleans())
    def begin(self, named: bool) -> None:
        self.time = OwnTime()
        self.clock = mock.patch("time.monotonic", lambda: self.time.now_s)
        self.clock.start()
        self.loop = asyncio.SelectorEventLoop(self.time)
        self.count = itertools.count(1)
        self.folder = tempfile.TemporaryDirectory()
        self.log = WireLog(Path(self.folder.name, "wire.log"))
        self.answered: list[str] = []
        self.run(self._open(named))

    async def _open(self, named: bool) -> None:
        self.board = ModelBoard(named)
        self.talk = Conversation(Wire(self.board, self.log))
        await self.talk.open()

    def run(self, work: object) -> object:
        return self.loop.run_until_complete(work)  # type: ignore[arg-type]

    @rule(faults=st.lists(st.sampled_from(("", *TO_BOARD, *TO_US)), min_size=1, max_size=4))
    def trouble(self, faults: list[str]) -> None:
        self.board.faults.extend(faults)

    @rule()
    def ask(self) -> None:
        word = f"k{next(self.count)}"
        answer = self._exchange(f"M118 {word}")
        assert answer in (None, word)

    @rule()
    def move(self) -> None:
        self._exchange(f"G1 E{next(self.count)}")

    @rule(asked=st.integers(2, 4))
    def ask_at_once(self, asked: int) -> None:
        words = [f"k{next(self.count)}" for _ in range(asked)]

        async def all_of_them() -> list[object]:
            tasks = [self.talk.exchange(f"M118 {word}", within_s=2) for word in words]
            return await asyncio.gather(*tasks, return_exceptions=True)

        for word, answer in zip(words, self.run(all_of_them()), strict=True):  # type: ignore[call-overload]
            if isinstance(answer, BaseException):
                assert isinstance(answer, LineError), answer
            else:
                assert answer.acknowledged == word

    @rule()
    def stop_amid_a_queue(self) -> None:
        words = [f"G1 E{next(self.count)}" for _ in range(3)]
        self.board.faults.appendleft("lose ok")  # the first one waits

        async def stopped() -> list[object]:
            tasks = [asyncio.create_task(self.talk.exchange(w, within_s=30)) for w in words]
            await asyncio.sleep(0.1)
            self.talk.stop(("M108",), ("M104 S0",), Stopped("stopped"))
            return await asyncio.gather(*tasks, return_exceptions=True)

        self.run(stopped())
        assert not set(words[1:]) & set(self.board.sent)  # none that waited went out

    def _exchange(self, command: str) -> str | None:
        try:
            answer = self.run(self.talk.exchange(command, within_s=2))
        except LineError:
            return None
        assert command in self.board.done  # believed only where it was done
        return str(answer.acknowledged)  # type: ignore[attr-defined]

    def teardown(self) -> None:
        try:
            if hasattr(self, "board"):
                self._judge()
                self.run(self.talk.close())
        finally:
            self.loop.close()
            self.clock.stop()
            self.log.close()
            self.folder.cleanup()

    def _judge(self) -> None:
        board = self.board
        ours = [c for c in board.done if c.startswith(("M118", "G1"))]
        for command in set(ours):
            assert ours.count(command) <= board.sent.count(command)
            assert ours.count(command) == 1 or not command.startswith("G1")
        order = [int(c.split()[-1][1:]) for c in dict.fromkeys(ours)]
        assert order == sorted(order)
        board.faults.clear()
        for _ in range(3):  # the first may tell what went before
            self._exchange("M105")
        assert self._exchange("M118 end") == "end"
        assert board.last == self.talk.wire._number


Course.TestCase.settings = settings(
    max_examples=60,
    stateful_step_count=15,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)
TestCourse = Course.TestCase
