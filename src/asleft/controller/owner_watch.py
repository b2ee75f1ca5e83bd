"""Whoever watches the heaters while nobody asks: temperatures, idleness, sleep, a lost line.

Runs beside the exchanges of one session and lives as long as that. It decides when; how heaters go
off is the session's business.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from typing import TYPE_CHECKING

from asleft.errors import AsleftError, Stopped

if TYPE_CHECKING:
    from asleft.controller.owner_session import Session

WATCH_EVERY_S = 0.1
POLL_WITHIN_S = 10.0
SLEPT_S = 20.0  # the wall clock ran this much ahead of ours: the computer slept (ours)


async def watch(session: Session) -> None:
    """Look again and again until cancelled."""
    watcher = _Watcher(session)
    try:
        while True:
            await asyncio.sleep(WATCH_EVERY_S)
            try:
                await watcher.look()
            except Exception as error:  # whoever watches heaters does not fall over
                session.log.note(f"watching: {error!r}")
    finally:
        await watcher.end()


class _Watcher:
    def __init__(self, session: Session) -> None:
        self._session = session
        self._ahead_s = time.time() - time.monotonic()
        self._polled_s = 0.0
        self._poll: asyncio.Task[None] | None = None

    async def look(self) -> None:
        """Do what is due: heaters off, or the next question for temperatures."""
        session = self._session
        slept_s = time.time() - time.monotonic() - self._ahead_s
        self._ahead_s += slept_s
        lost = session.talk.wire.lost
        if session.is_making_safe:
            return
        if session.unsafe is not None:
            session.start_making_safe()
        elif slept_s > SLEPT_S and session.guard.ours:
            await self._switch_off(f"the computer slept for {slept_s:.0f} s while hot")
        elif not session.talk.is_busy and session.guard.idle_too_long(time.monotonic()):
            idle_s = session.config.limits.idle_off_s
            await self._switch_off(f"no command came for {idle_s:g} s while hot")
        elif lost is not None:
            if session.hot_by_us:
                session.untold = await session.told(lost)
        elif self._poll is None or self._poll.done():
            self._begin_poll()

    async def end(self) -> None:
        """Ask no more."""
        if self._poll is not None:
            self._poll.cancel()
            await asyncio.gather(self._poll, return_exceptions=True)

    async def _switch_off(self, why: str) -> None:
        session = self._session
        if session.talk.is_busy:
            with contextlib.suppress(Exception):
                session.talk.shout(session.config.safe_lines)
        outcome = await session.make_safe()
        session.notice("text", f"{why}: heaters off. {outcome.words()}")
        session.guard.commanded(time.monotonic())

    def _begin_poll(self) -> None:
        """Ask when it is due, in turn with the work's own questions, however dense they come."""
        session, now_s = self._session, time.monotonic()
        last_s = max(self._polled_s, session.guard.last_report_s or 0.0)
        if now_s - last_s < session.config.limits.poll_s or session.talk.wire.halted is not None:
            return
        self._polled_s = now_s
        self._poll = asyncio.create_task(self._ask())

    async def _ask(self) -> None:
        session = self._session
        try:
            await session.talk.exchange("M105", within_s=POLL_WITHIN_S)
        except Stopped:
            return
        except AsleftError as error:
            session.untold = await session.told(error)
