"""What comes back over a line: the answer to one command, and what nobody asked for.

Plain data, shared by the process that owns the line and by those who ask it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol

from asleft.link.guard import GuardLimits

NoticeKind = Literal["reset", "temperature", "error", "busy", "text", "caution"]


@dataclass(frozen=True)
class Answer:
    """The answer to one command.

    `lines` are the data lines before the acknowledgement, stripped, without unasked lines
    (temperatures, busy, notes) unless the command asked for them; `acknowledged` is the text
    behind `ok` on its line (`T:198.6 /205.0`, often empty). `errors` are `Error:` and `!!`
    lines: an `ok` then only frees the line, the command was not done.
    """

    command: str
    lines: tuple[str, ...]
    acknowledged: str
    errors: tuple[str, ...] = ()
    elapsed_s: float = 0.0


@dataclass(frozen=True)
class Notice:
    """Something the machine said unasked. `wall_time` is ISO 8601 with microseconds, UTC.

    A `caution` is not the machine's: it is what whoever guards it has to say to a person.
    """

    kind: NoticeKind
    text: str
    wall_time: str


@dataclass(frozen=True)
class LineFacts:
    """What is known of an open line: address, rate, where its log is, whether a banner came."""

    address: str
    rate_baud: int | None
    wire_log: str
    restarted_on_opening: bool


class Line(Protocol):
    """One machine's line, as everything above `link` sees it. Synchronous; one owner process."""

    facts: LineFacts

    def exchange(self, command: str, *, within_s: float) -> Answer:
        """Send one command, numbered and checksummed, and wait for its acknowledgement.

        Args:
            command: the bare command (`M503`), without number and checksum.
            within_s: upper bound from the physics; `busy` lines extend it (with a cap).

        Raises:
            LineError: silent past the bound, unplugged, out of step for good. Says what was
                awaited, for how long, and the last thing heard.
            MachineResetError: a boot banner came instead.
            MachineError: the machine halted.
        """
        ...

    def notices(self) -> list[Notice]:
        """What came unasked since the last call, in order."""
        ...

    def limit(self, limits: GuardLimits, safe_lines: tuple[str, ...]) -> None:
        """From now on hold to these limits, and switch heaters off with these lines.

        For a machine that is known only after its line was opened.
        """
        ...

    def is_lost(self) -> bool:
        """Whether the connection is gone (unplugged, or a port that went with the power)."""
        ...

    def reopen(self, *, within_s: float) -> LineFacts:
        """Open a lost line again, as often as it takes until the machine answers.

        Raises:
            LineError: nobody answered within `within_s` seconds.
        """
        ...

    def stop(self) -> None:
        """Stop and heaters off, written ahead of everything that waits. Returns once written."""
        ...

    def close(self) -> None:
        """Make the machine safe (heaters off if they may be on), release the line."""
        ...
