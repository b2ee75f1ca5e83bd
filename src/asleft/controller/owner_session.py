"""One session with one machine inside the process that owns its line.

Joins conversation, heat guard, lock and wire log: heaters off on every way out, at trouble, when
idle and after the computer slept. A machine that we only asked is left alone: it may be printing.
It knows heaters and temperatures, no trial and no store.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from dataclasses import dataclass, field, replace
from pathlib import Path

from asleft.controller.asking import says_unknown
from asleft.controller.awake import Awake, SleepWatch
from asleft.controller.owner_config import OwnerConfig
from asleft.controller.owner_opening import first_opened, reopened
from asleft.controller.owner_safe import SafeOutcome, heaters_off, trouble_error
from asleft.controller.owner_watch import Watcher, watch
from asleft.errors import AsleftError, LineError, MachineError, Stopped
from asleft.link.answer import Answer, LineFacts, Notice, NoticeKind
from asleft.link.conversation import Conversation
from asleft.link.guard import GuardLimits, HeatGuard
from asleft.link.hearing import Heard
from asleft.link.lock import LineLock
from asleft.link.transport import PortTransport, Transport
from asleft.link.wire import Wire
from asleft.link.wirelog import WireLog, utc_now

COLD_WITHIN_S = 5.0  # heaters off after a stop, where none was switched on
LAST_WITHIN_S = 5.0  # heaters off on closing, where it was tried in vain just before
LOG_GAP = "the wire log is not complete any more: "
RATES_BAUD = (115200, 250000, 57600, 500000, 1000000, 9600)  # most often met first (from memory)


@dataclass
class Session:
    """Open, exchange, stop, close: the machine's line under the guard."""

    config: OwnerConfig
    transport: Transport | None = None  # None takes the port or socket of the address
    sleep: SleepWatch = field(default_factory=SleepWatch)
    guard: HeatGuard = field(init=False)
    talk: Conversation = field(init=False)

    def __post_init__(self) -> None:
        """Check the address; nothing is opened yet."""
        config = self.config
        self._lock = LineLock(config.address, config.holder)
        self._transport = self.transport or PortTransport(config.address, config.rate_baud)
        self.guard = HeatGuard(config.limits, time.monotonic())
        self.untold: AsleftError | None = None
        self.unsafe: AsleftError | None = None  # heaters off was tried, and is not confirmed
        self._tripped: MachineError | None = None
        self._safe: asyncio.Task[SafeOutcome] | None = None
        self.awake = Awake(lambda words: self.notice("caution", words))
        self._watcher = Watcher(self)
        self._watching: asyncio.Task[None] | None = None
        self._bound: asyncio.Timeout | None = None  # of the attempt that runs
        self._is_ending = False
        self._own_notices: list[Notice] = []
        self.is_open = False

    async def open(self) -> LineFacts:
        """Take the lock, open the line, get in step.

        Raises:
            LineError: held by another, cannot be opened, or silent.
        """
        config = self.config
        self._lock.take()
        self.log = WireLog(
            Path(config.wire_log), on_gap=lambda why: self.notice("error", LOG_GAP + why)
        )
        quiet_s = config.quiet_s
        if quiet_s is None:  # a USB serial converter may hold bytes back for 16 ms (from memory)
            quiet_s = 0.004 if self._transport.is_socket else 0.02
        wire = Wire(
            self._transport,
            self.log,
            quiet_s=quiet_s,
            on_heard=self._hear,
            on_sent=self._sent,
        )
        probes = RATES_BAUD if config.rate_baud is None and not self._transport.is_socket else ()
        self.talk = Conversation(wire, rates_baud=probes, on_silence=self._on_silence)
        self.is_open = True
        restarted = await first_opened(self, left_hot=self._lock.left_hot)
        self._watching = asyncio.create_task(watch(self._watcher))
        return self.facts(restarted)

    def facts(self, restarted: bool) -> LineFacts:
        """What is known of the open line."""
        rate_baud = self._transport.rate_baud
        return LineFacts(self.config.address, rate_baud, self.config.wire_log, restarted)

    def limit(self, limits: GuardLimits, safe_lines: tuple[str, ...]) -> None:
        """Hold to other limits and switch off with other lines from now on."""
        self.config = replace(self.config, limits=limits, safe_lines=safe_lines)
        self.guard.limits = limits

    def is_lost(self) -> bool:
        """Whether the connection is gone."""
        return self.talk.wire.lost is not None

    async def reopen(self, within_s: float) -> LineFacts:
        """Open a lost line again until the machine answers; see `link.answer.Line.reopen`."""
        return await reopened(self, within_s)

    async def made_safe(self) -> None:
        """Wait for the attempt at heaters off that runs, if one does."""
        if self._safe is not None:
            await asyncio.shield(self._safe)

    async def exchange(self, command: str, within_s: float) -> Answer:
        """One command under the guard; after a fault the error says how heaters off went."""
        await self._watcher.look_for_sleep()
        if self.unsafe is None:
            await self.made_safe()
        if self._tripped is not None:
            raise self._tripped
        if self.unsafe is not None:  # it is tried on, and nothing else goes out before it
            raise self.unsafe
        error, self.untold = self.untold, None
        if error is not None and self.talk.wire.restart is None:  # a restart since says more
            raise error
        self.guard.check(command)
        self.guard.commanded(time.monotonic())
        try:
            answer = await self.talk.exchange(command, within_s=within_s)
        except Stopped:
            raise
        except (LineError, MachineError) as error:
            raise await self.told(error) from error
        finally:
            self.guard.commanded(time.monotonic())
        if not answer.errors and not says_unknown((*answer.lines, answer.acknowledged)):
            self.guard.acknowledged(command)
        return answer

    @property
    def hot_by_us(self) -> bool:
        """Whether heaters off is our duty; heat that we only found may belong to a print."""
        return self.guard.ours or self._tripped is not None

    async def told(self, error: AsleftError) -> AsleftError:
        """Make the machine safe after a fault, if we heated it, and add how that went."""
        if not self.hot_by_us:
            return error
        outcome = await self.make_safe()
        if self._tripped is not None:
            return self._tripped
        message = f"{error.message.rstrip('.')}. {outcome.words()}"
        error = type(error)(message, hint=error.hint, where=error.where)
        self.unsafe = self.unsafe and error
        return error

    def stop(self) -> None:
        """Stop lines and heaters off, now; then see that they are off, behind the scenes.

        A machine that was only asked gets nothing: only the asking stops.

        Raises:
            LineError: the line is gone; heaters off is still tried.
        """
        stop_lines = self._stop_lines()
        safe_lines = self.config.safe_lines if stop_lines or self.hot_by_us else ()
        try:
            self.talk.stop(stop_lines, safe_lines, Stopped("stopped"))
        finally:
            if safe_lines and (self.hot_by_us or not self.is_lost()):
                self.start_making_safe()

    def _stop_lines(self) -> tuple[str, ...]:
        return self.config.stop_lines if self.guard.has_acted else ()

    def notices(self) -> list[Notice]:
        """What came unasked since the last call."""
        told = [*self.talk.notices(), *self._own_notices]
        self._own_notices.clear()
        if any(notice.kind == "reset" for notice in told):
            self.untold = None  # whatever was wrong before, the machine has started anew
        return sorted(told, key=lambda notice: notice.wall_time)

    async def make_safe(self) -> SafeOutcome:
        """Heaters off, acknowledged, or said why not. Several callers share one attempt."""
        return await asyncio.shield(self.start_making_safe())

    async def close(self) -> SafeOutcome | None:
        """Heaters off if we switched one on, then release the line. None when none was on."""
        try:
            if self._watching is not None:
                self._watching.cancel()
                with contextlib.suppress(asyncio.CancelledError):
                    await self._watching
            if not self.is_open:
                return None
            if self.talk.is_busy and not self.is_making_safe:
                with contextlib.suppress(Exception):
                    self.stop()  # whoever still waits must not delay the end
            outcome = await self._end_safe()
            await self.talk.close()
            return outcome
        finally:
            if self.is_open:
                self.mark_hot()
                self.log.close()
            self.is_open = False
            await self.awake.end()
            self._lock.release()

    async def _end_safe(self) -> SafeOutcome | None:
        """Heaters off for the last time; not for long where it was tried in vain just now."""
        self._is_ending = True
        if self.unsafe is not None:
            if self._bound is not None and self.is_making_safe:
                self._begun(self._bound)
            self.start_making_safe()
        outcome = None if self._safe is None else await asyncio.shield(self._safe)
        if self.unsafe is None and self.hot_by_us:
            outcome = await self.make_safe()
        return outcome

    @property
    def is_making_safe(self) -> bool:
        """Whether heaters off is being tried now."""
        return self._safe is not None and not self._safe.done()

    def _on_silence(self) -> bool:
        """A time-out: while hot, heaters off goes first, and puts the line right on its way."""
        if not self.hot_by_us:
            return False
        with contextlib.suppress(Exception):
            self.talk.shout(self.config.safe_lines)
        return True

    def start_making_safe(self) -> asyncio.Task[SafeOutcome]:
        """The attempt that runs, or a new one."""
        if self._safe is None or not self.is_making_safe:
            self._safe = asyncio.create_task(self._make_safe())
        return self._safe

    def _begun(self, bound: asyncio.Timeout) -> None:
        self._bound = bound
        if self._is_ending and self.unsafe is not None:
            bound.reschedule(asyncio.get_running_loop().time() + LAST_WITHIN_S)

    async def _make_safe(self) -> SafeOutcome:
        config, hot, stop_lines = self.config, self.hot_by_us, self._stop_lines()
        within_s = config.safe_within_s if hot else min(COLD_WITHIN_S, config.safe_within_s)
        outcome = await heaters_off(
            self.talk, stop_lines, config.safe_lines, within_s=within_s, on_begun=self._begun
        )
        if outcome.confirmed:
            self.guard.switched_off()
            if self.unsafe is not None:
                self.notice("text", outcome.words())
            self.unsafe = None
        elif hot and self.unsafe is None:
            self.unsafe = LineError(outcome.words(), where=config.address)
        if self._tripped is not None and self.guard.trouble is not None:
            self._tripped = trouble_error(self.guard.trouble, outcome.words(), config.address)
        if outcome.restart is not None:
            self.untold = outcome.restart
        self.log.note(outcome.words())
        return outcome

    def mark_hot(self) -> None:
        """Leave word beside the lock, for whoever comes after a killed owner."""
        self._lock.mark_hot(self.guard.ours or self.unsafe is not None)

    def _sent(self, command: str) -> None:
        """Every command passes here just before it goes out."""
        self.guard.sent(command)
        if self.guard.ours:
            self._lock.mark_hot(True)

    def _hear(self, heard: Heard) -> None:
        """Every line heard passes here before anybody else sees it."""
        if heard.kind not in {"ok", "temperature", "text"}:
            return
        self.guard.heard(heard.text, time.monotonic())
        if self.guard.trouble is not None and self._tripped is None:
            self._trip(self.guard.trouble)

    def _trip(self, trouble: str) -> None:
        self._tripped = trouble_error(trouble, "Heaters off was sent.", self.config.address)
        self.notice("error", trouble)
        with contextlib.suppress(Exception):
            self.talk.stop((), self.config.safe_lines, self._tripped)
        self.start_making_safe()

    def notice(self, kind: NoticeKind, text: str) -> None:
        """Something that we say ourselves, among what the machine says unasked."""
        self._own_notices.append(Notice(kind, text, utc_now().isoformat(timespec="microseconds")))
