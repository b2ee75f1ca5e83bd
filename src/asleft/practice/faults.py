"""Trouble on purpose: garbled, split, lost, doubled and late answers, for tests.

Everything here is asked for over the control channel, never drawn. Not for wrong readings: those
are the person's. Stands on nothing.
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass


@dataclass
class Faults:
    """What is to go wrong next; counts run down to 0.

    `garble` spoils lines to the client, `corrupt` lines to the board; `cut_report` is after how
    many lines the next settings report breaks off.
    `late_s` is wall seconds, since the client's patience runs by the wall. `silent` keeps every
    byte back until it is taken away. `restart_on_opening` resets the board whenever a client
    opens the line. `usb_powered`: the port goes with the board's power, and comes after its boot.
    """

    garble: int = 0
    lose_ok: int = 0
    double_ok: int = 0
    corrupt: int = 0
    resend_without_ok: bool = False
    cut_report: int = 0
    late: int = 0
    late_s: float = 0.0
    silent: bool = False
    restart_on_opening: bool = False
    usb_powered: bool = False

    def spoil(self, data: bytes) -> bytes:
        """The bytes as they reach the client."""
        if self.silent:
            return b""
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

    def acknowledgements(self) -> int:
        """How many times `ok` is said for one line."""
        if self.lose_ok > 0:
            self.lose_ok -= 1
            return 0
        if self.double_ok > 0:
            self.double_ok -= 1
            return 2
        return 1

    async def delay(self) -> None:
        """Hold the acknowledgement back."""
        if self.late > 0:
            self.late -= 1
            await asyncio.sleep(self.late_s)
