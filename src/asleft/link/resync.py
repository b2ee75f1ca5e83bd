"""Getting in step with a board: at the beginning, after a time-out, after a restart.

The way out of doubt is the same each time: silence, a line number set anew, and a harmless
question whose answer is known by its look. A late answer cannot pass for it.
"""

from __future__ import annotations

import asyncio
import itertools
import time

from asleft.errors import LineError
from asleft.link.framing import numbered_line, plain_line
from asleft.link.hearing import Heard, classify, temperatures
from asleft.link.wire import Wire

BOOT_WITHIN_S = 15.0  # boot loader, then firmware (from memory)
ASK_AGAIN_S = 1.0
OLD_OUTPUT_QUIET_S = 0.05
BANNER_QUIET_S = 0.3
LEAST_DRAIN_S = 0.2
LONGEST_DRAIN_S = 10.0
ANSWER_WITHIN_S = 3.0
QUESTION = "M105"  # every board answers it, and the answer looks like nothing else
TRIES = 3


async def begin(wire: Wire, rates_baud: tuple[int, ...] = (), first: tuple[str, ...] = ()) -> bool:
    """First words on a line just opened. True when the board restarted on opening.

    No fixed wait: it asks, and takes an answer or a banner, whichever comes first. With several
    speeds it asks at each in turn, without reopening. `first` goes out before each asking, since
    a booting board loses what it is sent.

    Raises:
        LineError: neither came while a board may boot.
    """
    await wire.quiet(OLD_OUTPUT_QUIET_S, at_most_s=1.0)
    before = len(wire.opening)
    within_s = BOOT_WITHIN_S + ASK_AGAIN_S * len(rates_baud)
    end_s = time.monotonic() + within_s
    rates = itertools.cycle(rates_baud)
    while True:
        if rates_baud:
            await wire.transport.set_rate(next(rates))
        if await _alive(wire, before, first):
            break
        if wire.lost is not None:
            raise wire.lost
        if time.monotonic() > end_s:
            raise _silent(wire, within_s)
    if _banner(wire.opening):
        await wire.quiet(BANNER_QUIET_S, at_most_s=BOOT_WITHIN_S)
    await _identify(wire)
    wire.in_session = True
    return _banner(wire.opening)


async def _alive(wire: Wire, before: int, first: tuple[str, ...]) -> bool:
    """Ask once; whether an acknowledgement, a refusal or a banner came within a second."""
    waiting = wire.wait_for(None, "M110", ASK_AGAIN_S)
    wire.send(b"\n", "")  # ends a line that another program may have begun
    for line in first:
        wire.send(plain_line(line), line)
    wire.set_number(0)
    end_s = time.monotonic() + ASK_AGAIN_S
    while time.monotonic() < end_s and wire.lost is None:
        await asyncio.wait([waiting.event], timeout=0.02)
        if waiting.event.done():
            return waiting.event.exception() is None
        if _banner(wire.opening[before:]):
            return True
    return False


def _banner(lines: list[str]) -> bool:
    return any(classify(line).kind == "banner" for line in lines)


async def resync(wire: Wire) -> None:
    """Drain, wait longer than the longest hold-up seen, number anew, ask who is there.

    Raises:
        LineError: the machine stayed silent; the line remains out of step, and the next
            exchange tries again.
    """
    wire.log.note("getting back in step")
    longest_s = min(LONGEST_DRAIN_S, 1.25 * wire.longest_hold_up_s)
    await wire.quiet(max(LEAST_DRAIN_S, longest_s), at_most_s=LONGEST_DRAIN_S)
    await _identify(wire)


async def _identify(wire: Wire) -> None:
    """Set the number and ask for temperatures until an answer looks like one, then quiet."""
    started_s = time.monotonic()
    try:
        for _ in range(TRIES):
            if await _acknowledged(wire, None) is None:
                continue
            await wire.quiet(OLD_OUTPUT_QUIET_S, at_most_s=1.0)
            if await _answers(wire):
                wire.stepped_in()
                wire.log.note("in step")
                return
    finally:
        wire.waiting = None
    if wire.lost is not None:
        raise wire.lost
    raise _silent(wire, time.monotonic() - started_s)


async def answered_in_turn(wire: Wire) -> bool:
    """Whether the next line is taken and answered, and with it everything before it was.

    Asks as often as the caller's patience lasts: the answer stands behind what is still done.
    """
    while True:
        heard = await _acknowledged(wire, QUESTION)
        if heard is not None:
            await wire.quiet(OLD_OUTPUT_QUIET_S, at_most_s=0.5)
            return heard.kind == "ok"


async def _answers(wire: Wire) -> bool:
    """Whether the question is answered, and nothing more comes after the answer."""
    end_s = time.monotonic() + ANSWER_WITHIN_S
    heard = await _acknowledged(wire, QUESTION)
    while heard is not None and time.monotonic() < end_s:
        seen = wire.heard_count
        await wire.quiet(OLD_OUTPUT_QUIET_S, at_most_s=0.5)
        if heard.kind == "ok" and wire.heard_count == seen:
            return True
        if heard.kind == "resend":
            return False
        heard = Heard("ok", "")  # more came: whatever it was, it belonged to an earlier line
    return False


async def _acknowledged(wire: Wire, command: str | None) -> Heard | None:
    """Send the question (or set the number); its acknowledgement, or None in time.

    For the question an ok counts only when temperatures came with it or before it.
    """
    if wire.lost is not None:
        raise wire.lost
    waiting = wire.wait_for(None, command or "M110", ANSWER_WITHIN_S)
    if command is None:
        wire.set_number(0)
    else:
        wire.send(numbered_line(wire.next_number(), command), command)
    end_s = time.monotonic() + ANSWER_WITHIN_S
    while (rest_s := end_s - time.monotonic()) > 0:
        await asyncio.wait([waiting.event], timeout=rest_s)
        if not waiting.event.done():
            return None
        for heard in (waiting.event.result(), *waiting.surplus):
            if command is None or heard.kind == "resend" or _is_report(heard, waiting.lines):
                return heard
        waiting.event = asyncio.get_running_loop().create_future()
        waiting.lines.clear()
        waiting.surplus.clear()
    return None


def _is_report(heard: Heard, lines: list[str]) -> bool:
    return any(temperatures(text) for text in (heard.text, *lines))


def _silent(wire: Wire, after_s: float) -> LineError:
    heard = wire.last_heard
    noise = "\ufffd" in heard or "\x00" in heard
    return LineError(
        f"{'only noise' if noise else f'no answer to {QUESTION}'} within {after_s:.0f} s; "
        f"{wire.last_words()}",
        hint="Is the machine switched on, and is this its port and its speed?",
        where=wire.transport.describe(),
    )
