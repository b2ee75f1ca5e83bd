"""From a description to a connected machine: its line's process, and the first question.

Kept apart because it pulls in the line; nothing else of the room does. Stands on `line`.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from asleft.controller.description import MachineDescription
from asleft.controller.limits import guard_limits
from asleft.controller.machine import Machine
from asleft.errors import InputError, RefusedError


def connect_described(
    description: MachineDescription,
    *,
    home: Path,
    holder: str,
    heaters_off_first: bool,
    clock: Callable[[], float],
    pause: Callable[[float], None],
) -> Machine:
    """Open the line and ask whether it is printing; see `asleft.controller.connect`."""
    from asleft.controller.line import open_line

    if description.address is None:
        raise InputError(
            f"{description.name} has no address",
            hint="Name its port or host:port.",
            where="address",
        )
    line = open_line(
        description.address,
        rate_baud=description.rate_baud,
        wire_log=_wire_log(home, description.name),
        holder=holder,
        limits=guard_limits(description),
        tools=description.tools,
        heaters_off_first=heaters_off_first,
    )
    machine = Machine(line, description, clock=clock, pause=pause)
    try:
        machine.printing = machine.is_printing()
        if machine.printing:
            raise RefusedError(
                f"{description.name} is printing",
                hint="Wait for the end of the print; nothing but questions was sent.",
                where=description.address,
            )
    except BaseException:
        line.close()
        raise
    return machine


def _wire_log(home: Path, name: str) -> Path:
    """One file a connection, named by machine and time (UTC)."""
    directory = home / "wire"
    directory.mkdir(parents=True, exist_ok=True)
    safe = re.sub(r"[^A-Za-z0-9-]+", "-", name).strip("-") or "machine"
    return directory / f"{safe}-{datetime.now(UTC):%Y%m%dT%H%M%S-%f}.log"
