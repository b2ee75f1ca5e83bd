"""How fast and how soon: exchanges a second over a raw loop in one run, and a stop under load.

    python -m benchmarks.line [--exchanges 20000] [--stops 200]

Numbered, checksummed, logged exchanges over a pseudo-terminal: in a process by themselves (as the
owner of the line runs them) and through the owner, idle and with a busy Python thread beside its
client. The board runs in Python, too, so that rates are bounds from below.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import platform
import statistics
import subprocess
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext, suppress
from pathlib import Path

from benchmarks.quick_board import quick_board

from asleft.controller.line import OwnedLine, open_line
from asleft.errors import AsleftError
from asleft.link import GuardLimits
from asleft.link.conversation import Conversation
from asleft.link.framing import numbered_line
from asleft.link.transport import PortTransport
from asleft.link.wire import Wire
from asleft.link.wirelog import WireLog
from asleft.page.serving import short_turns

COMMANDS = ("G1 X12.345 Y67.890 F3000", "M105")
IN_LINE = 8  # threads that wait behind the heat-wait


def raw(port: str, count: int) -> list[float]:
    """The bare loop: the same bytes written, read to the line's end; no check, no log."""
    fd = os.open(port, os.O_RDWR | os.O_NOCTTY)
    times = []
    os.write(fd, numbered_line(0, "M110 N0"))
    while not os.read(fd, 4096).endswith(b"\n"):
        pass
    for number in range(1, count + 1):
        began = time.perf_counter()
        os.write(fd, numbered_line(number, COMMANDS[number % 2]))
        while not os.read(fd, 4096).endswith(b"\n"):
            pass
        times.append(time.perf_counter() - began)
    os.close(fd)
    return times


def by_itself(port: str, count: int, log: Path) -> list[float]:
    """The conversation in a process without anything else, as in the owner of the line."""

    async def run() -> list[float]:
        talk = Conversation(Wire(PortTransport(port, 250000), WireLog(log), quiet_s=0.02))
        await talk.open()
        times = []
        for number in range(count):
            began = time.perf_counter()
            await talk.exchange(COMMANDS[number % 2], within_s=5)
            times.append(time.perf_counter() - began)
        await talk.close()
        return times

    return asyncio.run(run())


@contextmanager
def owned(port: str, log: Path) -> Iterator[OwnedLine]:
    """The line through the process that owns it."""
    limits = GuardLimits()
    with open_line(port, rate_baud=250000, wire_log=log, holder="a benchmark", limits=limits) as it:
        yield it


@contextmanager
def busy_thread() -> Iterator[None]:
    """A thread that computes in pure Python all the while."""
    ended = threading.Event()

    def work() -> None:
        while not ended.is_set():
            sum(range(1000))

    thread = threading.Thread(target=work)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()


def through_owner(line: OwnedLine, count: int) -> tuple[list[float], list[float]]:
    """Seconds of each exchange as the client sees it, and as the owner of the line does."""
    seen, owner = [], []
    for number in range(count):
        began = time.perf_counter()
        owner.append(line.exchange(COMMANDS[number % 2], within_s=5).elapsed_s)
        seen.append(time.perf_counter() - began)
    return seen, owner


def stops(line: OwnedLine, board: subprocess.Popen[bytes], count: int) -> list[float]:
    """Seconds from the call to the last heaters-off line at the board; the queue is full."""
    assert board.stdout is not None
    times = []
    for _ in range(count):
        waiting = [threading.Thread(target=_heat, args=(line,)) for _ in range(IN_LINE)]
        for thread in waiting:
            thread.start()
        _until(board, b"M109")
        time.sleep(0.02)  # the others stand in line behind it
        pressed_ns = time.monotonic_ns()
        line.stop()
        times.append((_until(board, b"M140 S0") - pressed_ns) / 1e9)
        for thread in waiting:
            thread.join()
    return times


def _heat(line: OwnedLine) -> None:
    with suppress(AsleftError):
        line.exchange("M109 S200", within_s=60)


def _until(board: subprocess.Popen[bytes], what: bytes) -> int:
    assert board.stdout is not None
    while True:
        stamp, _, command = board.stdout.readline().rstrip().partition(b" ")
        if command == what:
            return int(stamp)


def row(name: str, times: list[float], base_s: float | None = None) -> None:
    """Rate, median, p99, worst; times the raw loop."""
    ordered = sorted(times)
    p99 = ordered[int(0.99 * (len(ordered) - 1))]
    ratio = "" if base_s is None else f"{statistics.fmean(times) / base_s:6.2f} x raw"
    mean_s, median_s = statistics.fmean(times), statistics.median(times)
    print(
        f"{name:52s} {1 / mean_s:7.0f}/s  median {1e3 * median_s:7.3f}"
        f"  p99 {1e3 * p99:7.3f}  max {1e3 * ordered[-1]:7.3f} ms {ratio}",
        flush=True,
    )


def exchanges(folder: Path, count: int) -> None:
    """All ways to talk, one after the other, with boards that name their lines and that do not."""
    with quick_board(named=True) as (port, _):
        bare = raw(port, count)
    base_s = statistics.fmean(bare)
    row("raw loop", bare)
    for named, words in ((True, "ok N41"), (False, "bare ok")):
        many = count if named else max(100, count // 100)
        with quick_board(named=named) as (port, _):
            cpu_s = time.process_time()
            times = by_itself(port, many, folder / "self.log")
            cpu_s = time.process_time() - cpu_s  # opening included; tells what a busy machine hides
            row(f"by itself, {words}", times, base_s)
            print(f"    {1e6 * cpu_s / many:.0f} us of processor an exchange")
        with quick_board(named=named) as (port, _), owned(port, folder / "owned.log") as line:
            for busy, state in ((False, "idle"), (True, "busy thread in the client")):
                seen, owner = measured(line, min(many, 2000) if busy else many, busy=busy)
                row(f"{words}, {state}, seen by the client", seen, base_s)
                row(f"{words}, {state}, in the owner", owner, base_s)


def measured(line: OwnedLine, count: int, *, busy: bool) -> tuple[list[float], list[float]]:
    """`through_owner`, with or without a busy thread beside it."""
    if not busy:
        return through_owner(line, count)
    with busy_thread():
        return through_owner(line, count)


def stopping(folder: Path, count: int) -> bool:
    """Stops in a heat-wait with others in line; whether each was out within 100 ms."""
    within = True
    for state, beside in (("idle", nullcontext), ("busy", busy_thread)):
        with (
            quick_board(named=True) as (port, board),
            owned(port, folder / "stops.log") as line,
            beside(),
        ):
            times = stops(line, board, count)
        row(f"stop in a heat-wait, {state} client", times)
        met = sum(one <= 0.1 for one in times)
        print(f"    within 100 ms: {met} of {len(times)}")
        within = within and met == len(times)
    return within


def main() -> int:
    """Print everything; status 1 where a stop was late."""
    short_turns()  # as the page's server does, whose threads are the line's neighbours
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--exchanges", type=int, default=20000)
    parser.add_argument("--stops", type=int, default=200)
    options = parser.parse_args()
    load = ", ".join(f"{one:.2f}" for one in os.getloadavg())
    print(f"{platform.system()}, Python {platform.python_version()}, {os.cpu_count()} cores,")
    print(f"load average before: {load}")
    with tempfile.TemporaryDirectory() as folder:
        if options.exchanges:
            exchanges(Path(folder), options.exchanges)
        return 0 if not options.stops or stopping(Path(folder), options.stops) else 1


if __name__ == "__main__":
    raise SystemExit(main())
