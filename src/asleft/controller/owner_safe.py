"""Heaters off, whatever the line does: numbered, without number, and after reopening.

It tries until the machine shows no target above 0 or the time is up, and says which: an ok alone
may belong to another line, or to a line that arrived garbled. What is sent comes from the machine's
description.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass

from asleft.controller.asking import says_unknown
from asleft.errors import MachineError, MachineResetError
from asleft.link.answer import Answer
from asleft.link.conversation import Conversation
from asleft.link.hearing import temperatures
from asleft.link.wire import reset_error

EACH_WITHIN_S = 3.0
NUMBERED_WITHIN_S = 5.0  # getting back in step included
QUESTION = "M105"
LATE_ANSWERS = 3  # so many answers to earlier lines are passed over
LATE_QUIET_S = 0.1
REOPEN_WITHIN_S = 17.0  # a board may boot
PAUSE_S = 0.3


@dataclass(frozen=True)
class SafeOutcome:
    """How heaters off went: confirmed or not, how, and after how many seconds.

    `restart` is a restart of the machine that was noticed on the way, to be told to whoever asks
    next.
    """

    confirmed: bool
    how: str
    elapsed_s: float
    restart: MachineResetError | None = None

    def words(self) -> str:
        """One sentence for an error message."""
        if self.confirmed:
            return f"Heaters off was confirmed ({self.how}, {self.elapsed_s:.1f} s)."
        return (
            f"Heaters off could NOT be confirmed within {self.elapsed_s:.0f} s: "
            "switch the machine off at its power switch now."
        )


def trouble_error(trouble: str, outcome: str, where: str) -> MachineError:
    """The error of a heater out of bounds."""
    return MachineError(
        f"{trouble}. {outcome}",
        hint="Stay with the machine; if it does not cool down, use its power switch.",
        where=where,
    )


async def heaters_off(
    talk: Conversation,
    stop_lines: tuple[str, ...],
    safe_lines: tuple[str, ...],
    *,
    within_s: float,
    on_begun: Callable[[asyncio.Timeout], None] = lambda _: None,
) -> SafeOutcome:
    """Switch the heaters off and see that they are; raises nothing, whatever goes wrong.

    A board that is out of step may be blocked by a wait: `stop_lines` go out again each round.
    `on_begun` gets the bound, so that whoever has no patience left can shorten it.
    """
    started_s = time.monotonic()
    restarts: list[MachineResetError] = []
    how = "not confirmed"
    with contextlib.suppress(TimeoutError):
        async with asyncio.timeout(within_s) as bound:
            on_begun(bound)
            how = await _until_confirmed(talk, stop_lines, safe_lines, restarts)
    elapsed_s = time.monotonic() - started_s
    return SafeOutcome(how in _WAYS, how, elapsed_s, restarts[-1] if restarts else None)


async def _until_confirmed(
    talk: Conversation,
    stop_lines: tuple[str, ...],
    safe_lines: tuple[str, ...],
    restarts: list[MachineResetError],
) -> str:
    while True:
        _shout_if_lost(talk, stop_lines, safe_lines)
        for how, way in _WAYS.items():
            try:
                if await way(talk, safe_lines):
                    return how
            except MachineResetError as error:
                restarts.append(error)
            except Exception as error:  # whatever it is, the next way is tried
                talk.wire.log.note(f"heaters off: {error}")
        await asyncio.sleep(PAUSE_S)


def _shout_if_lost(
    talk: Conversation, stop_lines: tuple[str, ...], safe_lines: tuple[str, ...]
) -> None:
    """Out of step, agreeing on numbers takes seconds: the heaters do not wait for it."""
    if not talk.wire.in_step:
        with contextlib.suppress(Exception):
            talk.shout(safe_lines, stop_lines)


async def _numbered(talk: Conversation, safe_lines: tuple[str, ...]) -> bool:
    try:
        async with asyncio.timeout(NUMBERED_WITHIN_S):
            said = [await talk.exchange(line, within_s=EACH_WITHIN_S) for line in safe_lines]
            return is_off(said, await talk.exchange(QUESTION, within_s=EACH_WITHIN_S))
    except TimeoutError:
        return False


async def _plainly(talk: Conversation, safe_lines: tuple[str, ...]) -> bool:
    await talk.wire.quiet(LATE_QUIET_S, at_most_s=1.0)
    said = []
    for line in safe_lines:
        answer = await talk.say_plainly(line, within_s=EACH_WITHIN_S / 2)
        if answer is None:
            return False
        said.append(answer)
    for _ in range(LATE_ANSWERS):
        report = await talk.say_plainly(QUESTION, within_s=EACH_WITHIN_S / 2)
        if report is None:
            return False
        if any(temperatures(text) for text in (*report.lines, report.acknowledged)):
            return is_off(said, report)
    return False


async def _reopened(talk: Conversation, safe_lines: tuple[str, ...]) -> bool:
    await talk.close()
    try:
        async with asyncio.timeout(REOPEN_WITHIN_S):
            restarted = await talk.open(first=safe_lines)
    except TimeoutError:
        return False
    if restarted:  # what was not stored is gone: somebody must be told
        raise reset_error(talk.wire.opening[0], talk.wire.transport.describe())
    return await _numbered(talk, safe_lines)


def is_off(said: Sequence[Answer], report: Answer) -> bool:
    """Whether the machine shows that its heaters are off.

    Args:
        said: the answers to the lines that switch off.
        report: the answer to the question for temperatures. Its targets count, all of them; where
            it prints none, the answers count in which the machine does not refuse.
    """
    found = [t for text in (*report.lines, report.acknowledged) for t in temperatures(text)]
    told = [t for t in found if t.target_c is not None]
    if told:
        return any(t.sensor.startswith("T") for t in told) and not any(t.target_c for t in told)
    refused = [a for a in said if a.errors or says_unknown((*a.lines, a.acknowledged))]
    return bool(found) and not refused


_WAYS: dict[str, Callable[[Conversation, tuple[str, ...]], Awaitable[bool]]] = {
    "numbered": _numbered,
    "without number": _plainly,
    "after reopening": _reopened,
}
