"""Opening a line that was lost, and one whose last owner was killed while it heated.

Both come before any question of the person's. How heaters go off is the session's business.
"""

from __future__ import annotations

import asyncio
import time
from typing import TYPE_CHECKING

from asleft.errors import LineError
from asleft.link.answer import LineFacts

if TYPE_CHECKING:
    from asleft.controller.owner_session import Session

REOPEN_PAUSE_S = 0.3
NOT_BACK = "Check the cable and the machine's power, then connect again."
LEFT_HOT = "the program that held this machine was ended while it heated"


async def first_opened(session: Session, *, left_hot: bool) -> bool:
    """Open for the first time; whether the board restarted.

    Args:
        session: with its lock taken and nothing sent.
        left_hot: the last owner could not switch off what it had switched on: that is done, and
            seen to be done, first.

    Raises:
        LineError: silent, or heaters off could not be confirmed.
    """
    config = session.config
    first = config.safe_lines if config.heaters_off_first or left_hot else ()
    restarted = await session.talk.open(first)
    if left_hot:
        outcome = await session.make_safe()
        if not outcome.confirmed:
            session.unsafe = LineError(f"{LEFT_HOT}. {outcome.words()}", where=config.address)
            raise session.unsafe
        session.notice("caution", f"{LEFT_HOT}. {outcome.words()}")
    return restarted


async def reopened(session: Session, within_s: float) -> LineFacts:
    """Open a lost line again until the machine answers; see `link.answer.Line.reopen`."""
    end_s = time.monotonic() + within_s
    while True:
        await session.made_safe()  # opens it again, too
        if not session.is_lost() and session.talk.wire.in_session:
            return session.facts(restarted=False)
        try:
            async with asyncio.timeout(max(0.0, end_s - time.monotonic())):
                restarted = await session.talk.open()
        except (LineError, TimeoutError) as error:
            if time.monotonic() + REOPEN_PAUSE_S > end_s:
                what = f"the line was lost and did not come back within {within_s:g} s"
                raise LineError(what, hint=NOT_BACK, where=session.config.address) from error
            await asyncio.sleep(REOPEN_PAUSE_S)
            continue
        session.untold = None  # that the line was lost is known to whoever asked for this
        return session.facts(restarted)
