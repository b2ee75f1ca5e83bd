"""The exchange in flight: what came for it so far, and who is woken by the next event.

Plain state shared by the wire, which fills it, and the conversation, which waits on it.
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass, field

from asleft.link.hearing import Heard


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
    held: bool = False  # a refusal is being handled: nothing that comes now is the answer

    def is_before_mine(self, heard: Heard) -> bool:
        """Whether an acknowledgement names an earlier line: it is late, or doubled."""
        if heard.kind != "ok" or heard.number is None or self.number is None:
            return False
        return heard.number < self.number

    def renew(self) -> None:
        """Wait afresh; forget what came with a refusal."""
        if self.event.done():
            self.event.result()  # raises what ended the exchange meanwhile
        self.event = asyncio.get_running_loop().create_future()
        self.lines.clear()
        self.errors.clear()
