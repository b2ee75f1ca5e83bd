"""Where on the wire logs the work stands: noted in the store, connection by connection.

Counts the commands on the way. Not for writing a wire log; the owner of the line does that.
Stands on the store and on `link`'s reader.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from asleft.record import Store


class WireFiling:
    """The stretches of wire log filed so far, and how many commands are on them."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._commands_before = 0  # over connections that are closed
        self._commands = self._chunks_filed = 0  # over the present one

    @property
    def commands(self) -> int:
        """How many commands went over the line, up to what was filed last."""
        return self._commands_before + self._commands

    def file(self, path: str, *, machine_id: int, calibration_id: int | None) -> None:
        """Note what the wire log of the present connection has more than at the last call."""
        from asleft.link.wirelog import read_wire_log

        chunks = list(read_wire_log(Path(path)))
        self._commands = sum(c.data.count(b"\n") for c in chunks if c.direction == ">")
        if len(chunks) > self._chunks_filed:
            first = self._chunks_filed + 1
            self._store.add_wire_log(calibration_id, machine_id, path, first, len(chunks))
            self._chunks_filed = len(chunks)

    def ended(self) -> None:
        """The connection is closed: the next one has a wire log of its own."""
        self._commands_before += self._commands
        self._chunks_filed = self._commands = 0
