"""One conversation with one board: a question at a time, each answer to its own question.

Numbers lines, waits for acknowledgements, sends again on request and reports what it cannot
mend. A stop goes out ahead of everything, at once, even while an exchange waits. It does not
know what a command does.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable

from asleft.errors import AsleftError, LineError, MachineResetError, Stopped
from asleft.link.answer import Answer, Notice
from asleft.link.framing import numbered_line, plain_line
from asleft.link.guard import asks_only, moves
from asleft.link.hearing import Heard
from asleft.link.resync import answered_in_turn, begin, resync
from asleft.link.waiting import Waiting
from asleft.link.wire import Wire, reset_error

RESENDS_AT_MOST = 10
RESEND_QUIET_S = 0.1  # an ok that follows a resend request comes with it, in some families
DOUBTFUL_QUIET_S = 0.1  # after an acknowledgement too many, before the next question


class Conversation:
    """Questions and answers over a wire; several may ask, one at a time is answered.

    Args:
        wire: closed; `open` opens it.
        rates_baud: speeds to try in turn on opening; empty keeps the transport's own.
        on_silence: called at a time-out, before the line is put right, which takes seconds;
            True when the caller does that itself, having something more urgent to say.
    """

    def __init__(
        self,
        wire: Wire,
        *,
        rates_baud: tuple[int, ...] = (),
        on_silence: Callable[[], bool] = lambda: False,
    ) -> None:
        self.wire = wire
        self._on_silence = on_silence
        self._rates_baud = rates_baud
        self._turn = asyncio.Lock()
        self._stops = 0
        self._was_open = False
        self._stopped_by: AsleftError = Stopped("stopped")

    @property
    def is_busy(self) -> bool:
        """Whether an exchange is running or waiting for its turn."""
        return self._turn.locked()

    async def open(self, first: tuple[str, ...] = ()) -> bool:
        """Open the wire, for the first time or again, and get in step.

        Args:
            first: lines to send before anything else (heaters off after a lost connection).

        Returns:
            Whether the board restarted on opening; on opening again that is a notice, too.

        Raises:
            LineError: the port cannot be opened, or nothing answered in a board's boot time.
        """
        async with self._turn:
            await self.wire.open()
            restarted = await begin(self.wire, self._rates_baud, first)
            if restarted and self._was_open:
                self.wire.tell_restart(self.wire.opening[0])
            self._was_open = True
            return restarted

    async def close(self) -> None:
        """Close the wire. Nothing is sent; safe to call twice."""
        await self.wire.close()

    def notices(self) -> list[Notice]:
        """What came unasked since the last call, in order; a restart told here is told."""
        return self.wire.notices()

    async def exchange(self, command: str, *, within_s: float) -> Answer:
        """Send one command and wait for its acknowledgement; see `link.answer.Line.exchange`."""
        stops = self._stops
        plain_line(command)
        async with self._turn:
            if stops == self._stops:
                await self._ready(command)
            if stops != self._stops:
                raise self._stopped_by
            try:
                return await self._exchange(command, within_s)
            except LineError:
                if not (asks_only(command) and self.wire.in_step and stops == self._stops):
                    raise
                self.wire.log.note("asked once more")  # in step again, and asking changes nothing
                return await self._exchange(command, within_s)

    async def _ready(self, command: str) -> None:
        """Raise what nobody was told yet; get back in step; wait for quiet where it is needed."""
        wire = self.wire
        if wire.lost is not None:
            raise wire.lost
        if wire.restart is not None:
            error = reset_error(wire.restart, wire.transport.describe())
            await self._after_restart()
            raise error
        if wire.halted is not None:
            raise wire.halted_error()
        if not wire.in_step:
            await resync(wire)
        if wire.doubtful:
            await wire.quiet(DOUBTFUL_QUIET_S, at_most_s=2.0)
            wire.doubtful = False
        elif wire.quiet_s and not wire.names_itself(command):
            await wire.quiet(wire.quiet_s, at_most_s=1.0)

    async def _after_restart(self) -> None:
        """The restart is being told: be ready for the next question, if the board lets us."""
        self.wire.restart = None
        with contextlib.suppress(LineError):
            await resync(self.wire)

    async def _exchange(self, command: str, within_s: float) -> Answer:
        wire = self.wire
        started_s = time.monotonic()
        number = wire.next_number()
        frame = numbered_line(number, command)
        waiting = wire.wait_for(number, command, within_s)
        try:
            async with asyncio.timeout(within_s) as waiting.limit:
                wire.send(frame, command)
                heard = await self._acknowledged(waiting, frame)
        except TimeoutError:
            raise await self._timed_out(waiting, time.monotonic() - started_s) from None
        except MachineResetError:
            await self._after_restart()
            raise
        except BaseException:
            wire.in_step = False
            raise
        finally:
            wire.waiting = None
        elapsed_s = time.monotonic() - started_s
        wire.longest_hold_up_s = max(wire.longest_hold_up_s, elapsed_s)
        lines, errors = tuple(waiting.lines), tuple(waiting.errors)
        return Answer(command, lines, heard.text, errors, elapsed_s)

    async def _acknowledged(self, waiting: Waiting, frame: bytes) -> Heard:
        """Wait for the ok; send again as often as asked, within reason."""
        for _ in range(RESENDS_AT_MOST):
            heard = await waiting.event
            if heard.kind == "ok":
                return heard
            if moves(waiting.command) and heard.number != waiting.number:
                return await self._moved(waiting, heard)
            frame = await self._refused(waiting, heard, frame)
        heard = await waiting.event
        if heard.kind == "ok":
            return heard
        raise LineError(
            f"the machine asked for the same line more than {RESENDS_AT_MOST} times",
            hint="A worn cable or electrical noise does this: try another cable or port.",
            where=f"{waiting.command} on {self.wire.transport.describe()}",
        )

    async def _refused(self, waiting: Waiting, heard: Heard, frame: bytes) -> bytes:
        """Answer a resend request: let its echoes pass, agree on the number, send again."""
        wire = self.wire
        wire.log.note(f"asked for line {heard.number} instead of {waiting.number}")
        await self._let_pass(waiting)
        if heard.number == waiting.number:
            wire.send(frame, waiting.command)
            return frame
        self._check_count(waiting, heard)
        wire.set_number(0)
        await waiting.event
        await self._let_pass(waiting)
        waiting.number = wire.next_number()
        frame = numbered_line(waiting.number, waiting.command)
        wire.send(frame, waiting.command)
        return frame

    async def _moved(self, waiting: Waiting, heard: Heard) -> Heard:
        """A motion, and another line asked for: never sent twice, since that moves twice.

        The line behind ours is asked for: ours was taken and its ok lost in the noise. A question
        behind it is answered after it, and shows that both sides count alike.
        """
        wire = self.wire
        wire.log.note(f"asked for line {heard.number} behind {waiting.number}")
        await self._let_pass(waiting)
        self._check_count(waiting, heard)
        taken = heard.number == (waiting.number or 0) + 1
        if taken and await answered_in_turn(wire):
            wire.doubtful = True
            return Heard("ok", "")
        raise LineError(
            f"the machine asked for line {heard.number} when line {waiting.number} was sent",
            hint="Whether it moved is not known. A worn cable or electrical noise does this.",
            where=f"{waiting.command} on {wire.transport.describe()}",
        )

    def _check_count(self, waiting: Waiting, heard: Heard) -> None:
        """A machine that counts from the start again restarted, and its banner was lost."""
        if heard.number is not None and heard.number <= 1 and (waiting.number or 0) > 2:
            self.wire.note_restart(heard.text)
            raise reset_error(heard.text, self.wire.transport.describe())

    async def _let_pass(self, waiting: Waiting) -> None:
        """Several requests for one line are one request; what comes with them is no answer."""
        waiting.held = True
        await self.wire.quiet(RESEND_QUIET_S, at_most_s=1.0)
        waiting.renew()
        waiting.held = False

    async def _timed_out(self, waiting: Waiting, after_s: float) -> AsleftError:
        """Get back in step, then say what was awaited, for how long, and the last thing heard."""
        wire = self.wire
        wire.in_step = False
        leave = self._on_silence()
        what = f"no answer to {waiting.command!r} within {after_s:.1f} s; {wire.last_words()}"
        if any(error.startswith("!!") for error in waiting.errors):
            wire.halted = waiting.errors[-1]
            return wire.halted_error()
        unknown = "Whether the command was carried out is not known."
        if leave:
            return LineError(what, hint=unknown, where=wire.transport.describe())
        try:
            await resync(wire)
        except LineError as error:
            return LineError(f"{what}; {error.message}", hint=error.hint, where=error.where)
        except AsleftError as error:
            return error
        if wire.restart is not None:
            banner, wire.restart = wire.restart, None
            return reset_error(banner, wire.transport.describe())
        hint = f"The line is in step again. {unknown}"
        return LineError(what, hint=hint, where=wire.transport.describe())

    def stop(
        self, lines: tuple[str, ...], safe_lines: tuple[str, ...], because: AsleftError
    ) -> None:
        """Write stop lines, then heaters off, ahead of everything. Whoever waits gets `because`.

        Stop lines go without number, so that a board whose queue is blocked sees them too;
        heaters off goes both ways, since some boards refuse one of them. Afterwards the line is
        out of step, and the next exchange gets it back.

        Raises:
            LineError: the line is gone. Whoever waited was told all the same.
        """
        wire = self.wire
        self._stops += 1
        self._stopped_by = because
        try:
            self.shout(safe_lines, lines)
        finally:
            wire.in_step = False
            wire.fail(because)

    def shout(self, lines: tuple[str, ...], first: tuple[str, ...] = ()) -> None:
        """Write lines now, with and without number, and await nothing; out of step afterwards.

        `first` goes ahead of them, without number only.

        Raises:
            LineError: the line is gone.
        """
        self.wire.in_step = False
        for line in (*first, *lines):
            self.wire.send(plain_line(line), line)
        for line in lines:
            self.wire.send(numbered_line(self.wire.next_number(), line), line)

    async def say_plainly(self, line: str, *, within_s: float) -> Answer | None:
        """Send one line without number, out of step as we may be; None where no ok came."""
        async with self._turn:
            waiting = self.wire.wait_for(None, line, within_s)
            try:
                self.wire.send(plain_line(line), line)
                async with asyncio.timeout(within_s):
                    heard = await waiting.event
            except TimeoutError:
                return None
            finally:
                self.wire.waiting = None
                self.wire.in_step = False
            lines, errors = tuple(waiting.lines), tuple(waiting.errors)
            return Answer(line, lines, heard.text, errors) if heard.kind == "ok" else None
