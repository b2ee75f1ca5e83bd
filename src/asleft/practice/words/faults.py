"""Trouble on purpose: garbled, split, lost, doubled and late answers, and boards that misbehave.

Everything here is asked for over the control channel or by a test, never drawn. Not for wrong
readings: those are the person's. Stands on the settings and the parsed command.
"""

from __future__ import annotations

import asyncio
import re
from collections import deque
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field

from asleft.practice.words.settings import Settings
from asleft.practice.words.wire import Command

_SETTING = re.compile(rb"M\d+[: ].*\d|X\s*:.*\d")
_STEPS = re.compile(rb"M92|X\s*:.*Y\s*:.*Z\s*:.*E\s*:")
_DIGIT = re.compile(rb"(?<=[XYZEIJK:\d.-])\d")
BUSY_EVERY_S = 2.0


@dataclass
class Faults:
    """What is to go wrong next; counts run down to 0.

    To the client: `garble` spoils lines, `split` sends lines in two pieces `split_s` seconds apart,
    `asides` are said ahead of the next line (a character a byte, line ends included), `cut_report`
    is after how many lines the next settings report breaks off, `miss` drops settings lines behind
    the first `miss_from`, `wrong_digit` alters one digit of a line with steps (`wrong_at` of the
    way along it), `silent` keeps every byte back, `lose_start` the banner's first word.
    To the board: `corrupt` spoils lines; `ask_again` lines are not taken and asked for again, under
    a number `ask_back` lower than theirs.
    Acknowledgements: `lose_ok`, `double_ok`, `resend_without_ok`; `late` of them are held back for
    `late_s` wall seconds, since the client's patience runs by the wall; `busy_s` own seconds are
    spent saying busy.
    The board itself: `restart_on_opening` resets it whenever a client opens the line;
    `usb_powered`: the port goes with the board's power, and comes after its boot; `no_banner`;
    `stopped` is what it says to every line, doing none; `refuse_feeds` feeds are refused as too
    cold, with an ok; `touches` alters Z with any steps that are set; `rounds` what is stored to
    whole numbers.
    """

    garble: int = 0
    split: int = 0
    split_s: float = 0.0
    asides: list[str] = field(default_factory=list)
    lose_ok: int = 0
    double_ok: int = 0
    corrupt: int = 0
    ask_again: int = 0
    ask_back: int = 0
    resend_without_ok: bool = False
    cut_report: int = 0
    miss: int = 0
    miss_from: int = 0
    wrong_digit: int = 0
    wrong_at: float = 0.5
    late: int = 0
    late_s: float = 0.0
    busy_s: float = 0.0
    silent: bool = False
    restart_on_opening: bool = False
    usb_powered: bool = False
    no_banner: bool = False
    lose_start: bool = False
    stopped: str = ""
    refuse_feeds: int = 0
    touches: bool = False
    rounds: bool = False

    def spoil(self, data: bytes) -> bytes:
        """The bytes of one line as they reach the client, with what is said ahead of it."""
        if self.silent or (self.lose_start and data.strip() == b"start"):
            return b""
        ahead, self.asides = "".join(self.asides).encode("latin-1"), []
        return ahead + self._spoilt(data)

    def _spoilt(self, data: bytes) -> bytes:
        if self.miss > 0 and _SETTING.search(data):
            if self.miss_from <= 0:
                self.miss -= 1
                return b""
            self.miss_from -= 1
        if self.wrong_digit > 0 and _STEPS.search(data):
            self.wrong_digit -= 1
            return _one_digit_wrong(data, self.wrong_at)
        if self.garble > 0:
            self.garble -= 1
            return bytes(b ^ 0x55 if i % 3 == 1 else b for i, b in enumerate(data[:-1])) + b"\n"
        return data

    def arrive(self, raw: bytes) -> bytes:
        """A line as it reaches the board."""
        if self.corrupt > 0 and raw:
            self.corrupt -= 1
            return raw[:-1] + bytes([raw[-1] ^ 0x01])
        return raw

    def asked_again(self, raw: bytes) -> int | None:
        """The number to ask for instead of taking a line, or None to take it."""
        number = re.match(rb"\s*N\s*(\d+)", raw)
        if self.ask_again <= 0 or number is None or b"M110" in raw:
            return None
        self.ask_again -= 1
        return max(0, int(number[1]) - self.ask_back)

    def refusal(self, code: str, words: Mapping[str, float | None]) -> str | None:
        """What is said instead of obeying, or None."""
        if self.refuse_feeds > 0 and code in ("G0", "G1") and "E" in words:
            self.refuse_feeds -= 1
            return "echo: cold extrusion prevented"
        return None

    def done(self, command: Command, settings: Settings) -> None:
        """What setting or storing does besides what was asked."""
        if self.touches and command.code == "M92" and command.words:
            settings.in_force["M92"]["Z"] += 8.0
        if self.rounds and command.code == "M500" and settings.storage is not None:
            for words in settings.storage.values():
                words.update({letter: float(round(value)) for letter, value in words.items()})

    def acknowledgements(self) -> int:
        """How many times `ok` is said for one line."""
        if self.lose_ok > 0:
            self.lose_ok -= 1
            return 0
        if self.double_ok > 0:
            self.double_ok -= 1
            return 2
        return 1

    async def delay(
        self, say: Callable[[str], None], sleep: Callable[[float], Awaitable[None]]
    ) -> None:
        """Hold the acknowledgement back, in silence or saying busy."""
        if self.late > 0:
            self.late -= 1
            await asyncio.sleep(self.late_s)
        while self.busy_s > 0:
            self.busy_s -= BUSY_EVERY_S
            say("echo:busy: processing")
            await sleep(BUSY_EVERY_S)


class Trickle:
    """Bytes that leave in order, those of a split line in two pieces with a pause between."""

    def __init__(self) -> None:
        self._queue: deque[tuple[bytes, float]] = deque()
        self._runs = False

    def send(self, data: bytes, faults: Faults, output: Callable[[bytes], None]) -> None:
        """Send at once, or behind what is still to leave."""
        half = len(data) // 2
        if faults.split > 0 and half:
            faults.split -= 1
            self._queue.extend([(data[:half], faults.split_s), (data[half:], 0.0)])
        elif self._queue or self._runs:
            self._queue.append((data, 0.0))
        else:
            output(data)
            return
        if not self._runs:
            self._next(output)

    def _next(self, output: Callable[[bytes], None]) -> None:
        self._runs = False
        while self._queue and not self._runs:
            data, pause_s = self._queue.popleft()
            output(data)
            if pause_s > 0:
                self._runs = True
                asyncio.get_running_loop().call_later(pause_s, self._next, output)


def _one_digit_wrong(data: bytes, share: float) -> bytes:
    """One digit another one, two of its bits inverted: a parity bit would not have told."""
    places = [match.start() for match in _DIGIT.finditer(data)]
    if not places:
        return data
    at = places[min(len(places) - 1, int(share * len(places)))]
    mask = 0x03 if data[at] < ord("8") else 0x09
    return data[:at] + bytes([data[at] ^ mask]) + data[at + 1 :]
