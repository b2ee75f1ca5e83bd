"""Whoever watches the heaters while nobody asks: temperatures, idleness, sleep, a lost line.

Runs beside the exchanges of one session and lives as long as that. It decides when; how heaters go
off is the session's business.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from typing import TYPE_CHECKING

from asleft.errors import AsleftError, MachineError, Stopped

if TYPE_CHECKING:
    from asleft.controller.owner_session import Session

WATCH_EVERY_S = 0.1
POLL_WITHIN_S = 10.0


async def watch(watcher: Watcher) -> None:
    """Look again and again until cancelled."""
    session = watcher.session
    try:
        while True:
            try:
                with session.sleep.resting():
                    await asyncio.sleep(WATCH_EVERY_S)
                    await watcher.look_for_sleep()
                await watcher.look()
            except Exception as error:  # whoever watches heaters does not fall over
                session.log.note(f"watching: {error!r}")
    finally:
        await watcher.end()


class Watcher:
    """What is due now in one session, and who does it."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self._polled_s = 0.0
        self._poll: asyncio.Task[None] | None = None

    async def look(self) -> None:
        """Do what is due: heaters off, or the next question for temperatures."""
        session = self.session
        self._keep_awake()
        lost = session.talk.wire.lost
        if session.is_making_safe:
            return
        if session.unsafe is not None:
            session.start_making_safe()
        elif not session.talk.is_busy and session.guard.idle_too_long(time.monotonic()):
            idle_s = session.config.limits.idle_off_s
            await self._switch_off(f"no command came for {idle_s:g} s while hot")
        elif lost is not None:
            if session.hot_by_us:
                session.untold = await session.told(lost)
        elif self._poll is None or self._poll.done():
            self._begin_poll()

    def _keep_awake(self) -> None:
        """From the first heater that we switched on until all are seen off."""
        session = self.session
        hot = session.guard.ours or session.unsafe is not None
        session.mark_hot()
        if hot:
            session.awake.hold()
        else:
            session.awake.release()

    async def look_for_sleep(self) -> None:
        """Heaters off before anything else is said, where nobody watched them for too long."""
        session = self.session
        slept_s = session.sleep.slept_s()
        if slept_s <= session.config.limits.slept_s or not session.guard.ours:
            return
        why = f"the computer slept, or stood still, for {slept_s:.0f} s while the machine was hot"
        session.untold = MachineError(
            f"{why}. Heaters off was sent first.",
            hint="Look at the machine, then begin this step again.",
            where=session.config.address,
        )
        await self._switch_off(why)

    async def end(self) -> None:
        """Ask no more."""
        if self._poll is not None:
            self._poll.cancel()
            await asyncio.gather(self._poll, return_exceptions=True)

    async def _switch_off(self, why: str) -> None:
        session = self.session
        if session.talk.is_busy:
            with contextlib.suppress(Exception):
                session.talk.shout(session.config.safe_lines)
        outcome = await session.make_safe()
        session.notice("caution", f"{why}: heaters off. {outcome.words()}")
        session.guard.commanded(time.monotonic())

    def _begin_poll(self) -> None:
        """Ask when it is due, in turn with the work's own questions, however dense they come."""
        session, now_s = self.session, time.monotonic()
        last_s = max(self._polled_s, session.guard.last_report_s or 0.0)
        if now_s - last_s < session.config.limits.poll_s or session.talk.wire.halted is not None:
            return
        self._polled_s = now_s
        self._poll = asyncio.create_task(self._ask())

    async def _ask(self) -> None:
        session = self.session
        try:
            await session.talk.exchange("M105", within_s=POLL_WITHIN_S)
        except Stopped:
            return
        except AsleftError as error:
            session.untold = await session.told(error)
