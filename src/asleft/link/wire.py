"""The wire as one side hears it: what was sent, what came, and to whom each line belongs.

Reads all the time, logs every chunk, gives each line to the exchange that waits or to the
notices, and remembers what may not be missed (restart, halt, loss). It decides nothing: asking
is `conversation`, getting back in step is `resync`.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections import deque
from collections.abc import Callable

from asleft.errors import AsleftError, LineError, MachineError, MachineResetError
from asleft.link.answer import Notice, NoticeKind
from asleft.link.framing import LineSplitter, numbered_line
from asleft.link.hearing import Heard, asks_temperature, classify
from asleft.link.transport import Transport
from asleft.link.waiting import Waiting
from asleft.link.wirelog import WireLog, utc_now

BUSY_CAP = 10.0  # `busy` lengthens a wait to at most this many times its bound (ours)
BUSY_CAP_LEAST_S = 60.0
CAUTIOUS_QUIET_S = 0.05  # once an acknowledgement too many was seen, for the whole session
NOTICES_KEPT = 10_000

_NOTICE_KINDS: dict[str, NoticeKind] = {
    "temperature": "temperature",
    "error": "error",
    "halted": "error",
    "busy": "busy",
}


class Wire:
    """A transport with ears.

    Args:
        transport: closed; `open` opens it, once or again.
        log: gets every chunk, both ways.
        quiet_s: how long the line must have been silent before a question goes out. A doubled
            acknowledgement that comes later than that is told apart only by its number.
        on_heard: sees every line classified, asked for or not (the heat guard).
        on_sent: sees every command that goes out, however it goes.
    """

    def __init__(
        self,
        transport: Transport,
        log: WireLog,
        *,
        quiet_s: float = 0.004,
        on_heard: Callable[[Heard], None] = lambda _: None,
        on_sent: Callable[[str], None] = lambda _: None,
    ) -> None:
        self.transport = transport
        self.log = log
        self.quiet_s = quiet_s
        self.in_session = False  # before that a banner is the board's right
        self.in_step = False
        self.restart: str | None = None  # a banner nobody was told of yet
        self.halted: str | None = None
        self.lost: LineError | None = None
        self.doubtful = False  # an acknowledgement too many came
        self.longest_hold_up_s = 0.0
        self.last_heard = ""
        self.last_heard_s = 0.0
        self.heard_count = 0
        self.opening: list[str] = []  # lines heard before the session
        self.waiting: Waiting | None = None
        self._on_heard = on_heard
        self._on_sent = on_sent
        self._splitter = LineSplitter()
        self._notices: deque[Notice] = deque(maxlen=NOTICES_KEPT)
        self._named: set[str] = set()  # words of commands, see `names_itself`
        self._number = 0
        self._booting = False  # more lines of one banner are no second restart
        self._reader: asyncio.Task[None] | None = None

    async def open(self) -> None:
        """Open the transport and hear what comes; nothing is sent."""
        await self.close()
        await self.transport.open()
        self.log.note(f"opened {self.transport.describe()}")
        self._splitter.clear()
        self.lost = self.halted = self.restart = None
        self.in_session = self.in_step = self._booting = False
        self.opening.clear()
        self.last_heard_s = time.monotonic()
        self._reader = asyncio.create_task(self._read())

    async def close(self) -> None:
        """Close the transport. Nothing is sent; safe to call twice."""
        reader, self._reader = self._reader, None
        if reader is not None:
            reader.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await reader
            self.log.note("closed")
        await self.transport.close()

    def notices(self) -> list[Notice]:
        """What came unasked since the last call, in order; a restart told here is told."""
        told = list(self._notices)
        self._notices.clear()
        if self.restart is not None and any(notice.kind == "reset" for notice in told):
            self.restart, self.in_step = None, False
        return told

    def stepped_in(self) -> None:
        """Both sides agree again; a banner from now on is another restart."""
        self.in_step = True
        self._booting = False
        self._named.clear()

    def names_itself(self, command: str) -> bool:
        """Whether the acknowledgement of such a command can be no other line's.

        So it is where the machine named the line in it (`ok N41`) since both are in step, and
        said all that it had to say there. Another one, doubled or late, names an earlier line or
        none. Lines of data name nothing: a command that is answered with some is never sure.
        """
        return command.split(" ", 1)[0] in self._named

    def last_words(self) -> str:
        """The last thing heard on this line, for an error."""
        heard = self.last_heard
        return f"the last thing heard was {heard!r}" if heard else "nothing was heard"

    def next_number(self) -> int:
        """The number of the next line."""
        self._number += 1
        return self._number

    def set_number(self, number: int) -> None:
        """Tell the board to count from `number`; it answers with an ok like any line."""
        self._number = number
        self.send(numbered_line(number, f"M110 N{number}"), "M110")

    def wait_for(self, number: int | None, command: str, within_s: float) -> Waiting:
        """From now on an acknowledgement belongs to this command."""
        now_s = time.monotonic()
        self.waiting = Waiting(
            number,
            command,
            asyncio.get_running_loop().create_future(),
            within_s=within_s,
            busy_until_s=now_s + max(BUSY_CAP_LEAST_S, BUSY_CAP * within_s),
            must_name=number is not None and self.names_itself(command),
        )
        return self.waiting

    def send(self, data: bytes, command: str) -> None:
        """Tell the guard, write one whole line, then log it: nothing delays a line to the board."""
        self._on_sent(command)
        self.transport.write(data)
        self.log.sent(data)

    async def quiet(self, for_s: float, *, at_most_s: float) -> None:
        """Wait until nothing was heard for `for_s` seconds, but no longer than `at_most_s`."""
        end_s = time.monotonic() + at_most_s
        while (now_s := time.monotonic()) < end_s and self.lost is None:
            rest_s = self.last_heard_s + for_s - now_s
            if rest_s <= 0:
                return
            await asyncio.sleep(min(rest_s, end_s - now_s))

    def note_restart(self, text: str) -> None:
        """The board started anew: numbers begin again, and somebody must be told."""
        self._number = 0
        self.in_step = False
        self.halted = None
        self.restart = text
        self._booting = True

    async def _read(self) -> None:
        try:
            while chunk := await self.transport.read():
                self.log.heard(chunk)
                self.last_heard_s = time.monotonic()
                for line in self._splitter.feed(chunk):
                    self._take(classify(line))
        except Exception as error:
            self._lose(f"the line broke: {error}")
        else:
            self._lose("the connection ended")

    def _lose(self, what: str) -> None:
        self.log.note(what)
        self.lost = LineError(
            f"{what}; {self.last_words()}",
            hint="Check the cable and the machine's power, then connect again.",
            where=self.transport.describe(),
        )
        self.fail(self.lost)

    def fail(self, error: AsleftError) -> None:
        """End the exchange in flight, if there is one, with an error."""
        if self.waiting is not None and not self.waiting.event.done():
            self.waiting.event.set_exception(error)

    def _take(self, heard: Heard) -> None:
        """Give one line to whom it belongs."""
        self.heard_count += 1
        if heard.kind != "wait":
            self.last_heard = heard.text or heard.kind
        self._on_heard(heard)
        if not self.in_session and heard.kind not in {"ok", "resend", "wait"}:
            self.opening.append(heard.text)
        match heard.kind:
            case "ok" | "resend":
                self._take_reply(heard)
            case "banner":
                self._take_banner(heard)
            case "halted":
                self.halted = heard.text
                self._notice(heard)
                self.fail(self.halted_error())
            case "busy":
                self._notice(heard)
                if self.waiting is not None:
                    self.waiting.extend()
            case "wait":
                pass
            case _:
                self._take_text(heard)

    def _take_reply(self, heard: Heard) -> None:
        waiting = self.waiting
        if waiting is not None and waiting.held:
            return
        if waiting is None or waiting.event.done():
            if waiting is not None:
                waiting.surplus.append(heard)
            if heard.kind != "ok" or heard.number is None:  # a named one misleads nobody
                self._surplus()
            return
        if not waiting.is_mine(heard):
            waiting.lines.clear()  # late, doubled or garbled, and what came before it with it
            if heard.number is None:
                self._surplus()
            return
        if waiting.is_named_by(heard):
            self._named.add(waiting.command.split(" ", 1)[0])
        waiting.event.set_result(heard)

    def _surplus(self) -> None:
        """An acknowledgement too many: from now on, look twice before asking."""
        if not self.in_step:
            return
        self.doubtful = True
        self.quiet_s = max(self.quiet_s, CAUTIOUS_QUIET_S)

    def _take_banner(self, heard: Heard) -> None:
        if not self.in_session or self._booting:
            return
        self.tell_restart(heard.text)
        self.note_restart(heard.text)
        self.fail(reset_error(heard.text, self.transport.describe()))

    def _take_text(self, heard: Heard) -> None:
        waiting = self.waiting
        asked = waiting is not None and not waiting.held
        if heard.kind == "temperature" and waiting is not None:
            asked = asked and asks_temperature(waiting.command)
        if waiting is None or not asked or heard.kind == "action":
            self._notice(heard)
        elif heard.kind == "error":
            waiting.errors.append(heard.text)
        else:
            waiting.lines.append(heard.text)

    def _notice(self, heard: Heard) -> None:
        self._note(_NOTICE_KINDS.get(heard.kind, "text"), heard.text)

    def tell_restart(self, text: str) -> None:
        """The board restarted: for whoever asks what came unasked."""
        self._note("reset", text)

    def _note(self, kind: NoticeKind, text: str) -> None:
        self._notices.append(Notice(kind, text, utc_now().isoformat(timespec="microseconds")))

    def halted_error(self) -> MachineError:
        """The error of a machine that only a restart brings back."""
        return MachineError(
            f"the machine halted: {self.halted}",
            hint="Only a restart helps: switch it off and on, then connect again.",
            where=self.transport.describe(),
        )


def reset_error(banner: str, where: str) -> MachineResetError:
    """The error of a restart in mid session."""
    return MachineResetError(
        f"the machine restarted (it said {banner!r})",
        hint="What was not stored is gone, and it must be homed again. Read its settings anew.",
        where=where,
    )
