"""Heaters off, whatever the line does: numbered, without number, and after reopening.

It tries until the machine acknowledged or the time is up, and says which; a confirmation is an
acknowledgement, never the mere sending. What is sent comes from the machine's description.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass

from asleft.errors import AsleftError, MachineResetError
from asleft.link.conversation import Conversation

EACH_WITHIN_S = 3.0
NUMBERED_WITHIN_S = 4.0  # getting back in step included
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


async def heaters_off(
    talk: Conversation,
    stop_lines: tuple[str, ...],
    safe_lines: tuple[str, ...],
    *,
    within_s: float,
) -> SafeOutcome:
    """Switch the heaters off and have it acknowledged; never raises for the line's sake.

    A board that is out of step may be blocked by a wait: `stop_lines` go out again each round.
    """
    started_s = time.monotonic()
    restarts: list[MachineResetError] = []
    how = "not confirmed"
    with contextlib.suppress(TimeoutError):
        async with asyncio.timeout(within_s):
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
            except AsleftError as error:
                talk.wire.log.note(f"heaters off: {error.message}")
        await asyncio.sleep(PAUSE_S)


def _shout_if_lost(
    talk: Conversation, stop_lines: tuple[str, ...], safe_lines: tuple[str, ...]
) -> None:
    """Out of step, agreeing on numbers takes seconds: the heaters do not wait for it."""
    if not talk.wire.in_step:
        with contextlib.suppress(AsleftError):
            talk.shout(safe_lines, stop_lines)


async def _numbered(talk: Conversation, safe_lines: tuple[str, ...]) -> bool:
    try:
        async with asyncio.timeout(NUMBERED_WITHIN_S):
            for line in safe_lines:
                answer = await talk.exchange(line, within_s=EACH_WITHIN_S)
                if answer.errors:
                    return False
    except TimeoutError:
        return False
    return True


async def _plainly(talk: Conversation, safe_lines: tuple[str, ...]) -> bool:
    for line in safe_lines:
        if not await talk.say_plainly(line, within_s=EACH_WITHIN_S / 2):
            return False
    return True


async def _reopened(talk: Conversation, safe_lines: tuple[str, ...]) -> bool:
    await talk.close()
    try:
        async with asyncio.timeout(REOPEN_WITHIN_S):
            await talk.open(first=safe_lines)
    except TimeoutError:
        return False
    return await _numbered(talk, safe_lines)


_WAYS: dict[str, Callable[[Conversation, tuple[str, ...]], Awaitable[bool]]] = {
    "numbered": _numbered,
    "without number": _plainly,
    "after reopening": _reopened,
}
