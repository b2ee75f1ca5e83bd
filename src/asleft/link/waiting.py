"""The exchange in flight: what came for it so far, and who is woken by the next event.

Plain state shared by the wire, which fills it, and the conversation, which waits on it.
"""

from __future__ import annotations

import asyncio
import time
from dataclasses import dataclass, field

from asleft.link.hearing import Heard

BUSY_EXTENDS_LEAST_S = 5.0  # busy lines come every 2 s or so (common practice, no source)


@dataclass(slots=True)
class Waiting:
    """The exchange in flight: what came for it so far, and who is woken by the next event."""

    number: int | None
    command: str
    event: asyncio.Future[Heard]
    limit: asyncio.Timeout | None = None
    busy_until_s: float = 0.0
    within_s: float = 0.0
    lines: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    surplus: list[Heard] = field(default_factory=list)  # acknowledgements behind the first
    must_name: bool = False  # only an acknowledgement that names this line is its own
    held: bool = False  # a refusal is being handled: nothing that comes now is the answer

    def is_mine(self, heard: Heard) -> bool:
        """Whether a reply may be this line's; an acknowledgement of an earlier one is not."""
        if heard.kind != "ok":
            return True
        if self.must_name:
            return heard.number == self.number
        return heard.number is None or self.number is None or heard.number >= self.number

    def is_named_by(self, heard: Heard) -> bool:
        """Whether an acknowledgement names this line, and says all that there is to say."""
        named = heard.kind == "ok" and heard.number is not None and heard.number == self.number
        return named and not self.lines

    def extend(self) -> None:
        """A busy machine is alive: the bound begins again, up to the cap."""
        if self.limit is None or self.event.done():
            return
        now_s = asyncio.get_running_loop().time()
        cap_s = max(self.busy_until_s - time.monotonic(), 0.0)
        self.limit.reschedule(now_s + min(max(self.within_s, BUSY_EXTENDS_LEAST_S), cap_s))

    def renew(self) -> None:
        """Wait afresh; forget what came with a refusal."""
        if self.event.done():
            self.event.result()  # raises what ended the exchange meanwhile
        self.event = asyncio.get_running_loop().create_future()
        self.lines.clear()
        self.errors.clear()
