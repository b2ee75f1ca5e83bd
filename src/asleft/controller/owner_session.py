"""One session with one machine inside the process that owns its line.

Joins conversation, heat guard, lock and wire log: heaters off on every way out, at trouble, when
idle and after the computer slept. It knows heaters and temperatures, no trial and no store.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from asleft.controller.owner_safe import SafeOutcome, heaters_off
from asleft.errors import AsleftError, LineError, MachineError, Stopped
from asleft.link.answer import Answer, LineFacts, Notice
from asleft.link.conversation import Conversation
from asleft.link.guard import GuardLimits, HeatGuard
from asleft.link.hearing import Heard
from asleft.link.lock import LineLock
from asleft.link.transport import PortTransport
from asleft.link.wire import Wire
from asleft.link.wirelog import WireLog, utc_now

WATCH_EVERY_S = 0.1
POLL_WITHIN_S = 10.0
COLD_WITHIN_S = 5.0  # heaters off after a stop, where none was switched on
SLEPT_S = 20.0  # the wall clock ran this much ahead of ours: the computer slept (ours)
RATES_BAUD = (115200, 250000, 57600, 500000, 1000000, 9600)  # most often met first (from memory)


@dataclass(frozen=True)
class OwnerConfig:
    """What the owner of a line is told: where, with what limits, what makes it stop and safe."""

    address: str
    rate_baud: int | None
    wire_log: str
    holder: str
    limits: GuardLimits
    stop_lines: tuple[str, ...] = ("M108", "M410")
    safe_lines: tuple[str, ...] = ("M104 S0", "M140 S0")
    safe_within_s: float = 40.0
    heaters_off_first: bool = False
    quiet_s: float | None = None

    def to_dict(self) -> dict[str, Any]:
        """JSON values."""
        return asdict(self)

    @classmethod
    def from_dict(cls, values: dict[str, Any]) -> OwnerConfig:
        """The inverse of `to_dict`."""
        lists = {k: tuple(values[k]) for k in ("stop_lines", "safe_lines")}
        return cls(**{**values, **lists, "limits": GuardLimits(**values["limits"])})


@dataclass
class Session:
    """Open, exchange, stop, close: the machine's line under the guard."""

    config: OwnerConfig
    guard: HeatGuard = field(init=False)
    talk: Conversation = field(init=False)

    def __post_init__(self) -> None:
        """Check the address; nothing is opened yet."""
        config = self.config
        self._lock = LineLock(config.address, config.holder)
        self._transport = PortTransport(config.address, config.rate_baud)
        self.guard = HeatGuard(config.limits, time.monotonic())
        self._untold: AsleftError | None = None
        self._tripped: MachineError | None = None
        self._safe: asyncio.Task[SafeOutcome] | None = None
        self._watcher: asyncio.Task[None] | None = None
        self._polled_s = 0.0
        self._own_notices: list[Notice] = []
        self.is_open = False

    async def open(self) -> LineFacts:
        """Take the lock, open the line, get in step.

        Raises:
            LineError: held by another, cannot be opened, or silent.
        """
        config = self.config
        self._lock.take()
        self._log = WireLog(Path(config.wire_log))
        quiet_s = config.quiet_s
        if quiet_s is None:  # a USB serial converter may hold bytes back for 16 ms (from memory)
            quiet_s = 0.004 if self._transport.is_socket else 0.02
        wire = Wire(
            self._transport,
            self._log,
            quiet_s=quiet_s,
            on_heard=self._hear,
            on_sent=self.guard.sent,
        )
        probes = RATES_BAUD if config.rate_baud is None and not self._transport.is_socket else ()
        self.talk = Conversation(wire, rates_baud=probes, on_silence=self._on_silence)
        self.is_open = True
        restarted = await self.talk.open(config.safe_lines if config.heaters_off_first else ())
        self._watcher = asyncio.create_task(self._watch())
        return LineFacts(
            config.address,
            self._transport.rate_baud,
            config.wire_log,
            restarted,
            tuple(wire.opening) if restarted else (),
        )

    async def exchange(self, command: str, within_s: float) -> Answer:
        """One command under the guard; after a fault the error says how heaters off went."""
        if self._safe is not None and not self._safe.done():
            await asyncio.shield(self._safe)
        if self._tripped is not None:
            raise self._tripped
        error, self._untold = self._untold, None
        if error is not None and self.talk.wire.restart is None:  # a restart since says more
            raise error
        self.guard.check(command)
        self.guard.commanded(time.monotonic())
        try:
            answer = await self.talk.exchange(command, within_s=within_s)
        except Stopped:
            raise
        except (LineError, MachineError) as error:
            raise await self._told(error) from error
        finally:
            self.guard.commanded(time.monotonic())
        if not answer.errors:
            self.guard.acknowledged(command)
        return answer

    async def _told(self, error: AsleftError) -> AsleftError:
        """Make the machine safe after a fault, if it may be hot, and add how that went."""
        if not self.guard.may_be_hot and self._tripped is None:
            return error
        outcome = await self.make_safe()
        if self._tripped is not None:
            return self._tripped
        message = f"{error.message.rstrip('.')}. {outcome.words()}"
        return type(error)(message, hint=error.hint, where=error.where)

    def stop(self) -> None:
        """Stop lines and heaters off, now; then have heaters off acknowledged, behind the scenes.

        Raises:
            LineError: the line is gone; heaters off is still tried.
        """
        config = self.config
        try:
            self.talk.stop(config.stop_lines, config.safe_lines, Stopped("stopped"))
        finally:
            if self.guard.may_be_hot or self.talk.wire.lost is None:
                self._start_making_safe()

    def notices(self) -> list[Notice]:
        """What came unasked since the last call."""
        told = [*self.talk.notices(), *self._own_notices]
        self._own_notices.clear()
        if any(notice.kind == "reset" for notice in told):
            self._untold = None  # whatever was wrong before, the machine has started anew
        return sorted(told, key=lambda notice: notice.wall_time)

    async def make_safe(self) -> SafeOutcome:
        """Heaters off, acknowledged, or said why not. Several callers share one attempt."""
        return await asyncio.shield(self._start_making_safe())

    async def close(self) -> SafeOutcome | None:
        """Heaters off if we switched one on, then release the line. None when none was on."""
        outcome = None
        if self._watcher is not None:
            self._watcher.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._watcher
        if self.is_open:
            if self.talk.is_busy and (self._safe is None or self._safe.done()):
                with contextlib.suppress(LineError):
                    self.stop()  # whoever still waits must not delay the end
            if self._safe is not None:
                outcome = await asyncio.shield(self._safe)
            if self.guard.ours or self._tripped is not None:
                outcome = await self.make_safe()
            await self.talk.close()
            self._log.close()
        self.is_open = False
        self._lock.release()
        return outcome

    def _on_silence(self) -> bool:
        """A time-out: while hot, heaters off goes first, and puts the line right on its way."""
        if not self.guard.may_be_hot:
            return False
        with contextlib.suppress(LineError):
            self.talk.shout(self.config.safe_lines)
        return True

    def _start_making_safe(self) -> asyncio.Task[SafeOutcome]:
        if self._safe is None or self._safe.done():
            self._safe = asyncio.create_task(self._make_safe())
        return self._safe

    async def _make_safe(self) -> SafeOutcome:
        config = self.config
        hot = self.guard.may_be_hot or self._tripped is not None
        within_s = config.safe_within_s if hot else min(COLD_WITHIN_S, config.safe_within_s)
        outcome = await heaters_off(
            self.talk, config.stop_lines, config.safe_lines, within_s=within_s
        )
        if outcome.confirmed:
            self.guard.switched_off()
        if self._tripped is not None and self.guard.trouble is not None:
            self._tripped = self._trouble(self.guard.trouble, outcome.words())
        if outcome.restart is not None:
            self._untold = outcome.restart
        self._log.note(outcome.words())
        return outcome

    def _hear(self, heard: Heard) -> None:
        """Every line heard passes here before anybody else sees it."""
        if heard.kind not in {"ok", "temperature", "text"}:
            return
        self.guard.heard(heard.text, time.monotonic())
        if self.guard.trouble is not None and self._tripped is None:
            self._trip(self.guard.trouble)

    def _trip(self, trouble: str) -> None:
        self._tripped = self._trouble(trouble, "Heaters off was sent.")
        self._notice("error", trouble)
        with contextlib.suppress(LineError):
            self.talk.stop((), self.config.safe_lines, self._tripped)
        self._start_making_safe()

    def _trouble(self, trouble: str, outcome: str) -> MachineError:
        return MachineError(
            f"{trouble}. {outcome}",
            hint="Stay with the machine; if it does not cool down, use its power switch.",
            where=self.config.address,
        )

    def _notice(self, kind: Any, text: str) -> None:
        self._own_notices.append(Notice(kind, text, utc_now().isoformat(timespec="microseconds")))

    async def _watch(self) -> None:
        """Poll temperatures between exchanges; act on idleness, sleep and a lost line."""
        ahead_s = time.time() - time.monotonic()
        while True:
            await asyncio.sleep(WATCH_EVERY_S)
            slept_s = time.time() - time.monotonic() - ahead_s
            ahead_s += slept_s
            if self._safe is not None and not self._safe.done():
                continue
            if slept_s > SLEPT_S and self.guard.may_be_hot:
                await self._switch_off(f"the computer slept for {slept_s:.0f} s while hot")
            elif not self.talk.is_busy and self.guard.idle_too_long(time.monotonic()):
                idle_s = self.config.limits.idle_off_s
                await self._switch_off(f"no command came for {idle_s:g} s while hot")
            elif self.talk.wire.lost is not None:
                if self.guard.may_be_hot:
                    self._untold = await self._told(self.talk.wire.lost)
            elif not self.talk.is_busy:
                await self._poll()

    async def _switch_off(self, why: str) -> None:
        if self.talk.is_busy:
            with contextlib.suppress(LineError):
                self.talk.shout(self.config.safe_lines)
        outcome = await self.make_safe()
        self._notice("text", f"{why}: heaters off. {outcome.words()}")
        self.guard.commanded(time.monotonic())

    async def _poll(self) -> None:
        now_s = time.monotonic()
        last_s = max(self._polled_s, self.guard.last_report_s or 0.0)
        if now_s - last_s < self.config.limits.poll_s or self.talk.wire.halted is not None:
            return
        self._polled_s = now_s
        try:
            await self.talk.exchange("M105", within_s=POLL_WITHIN_S)
        except Stopped:
            return
        except AsleftError as error:
            self._untold = await self._told(error)
