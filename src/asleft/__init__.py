"""The tool for measuring and correcting what a 3D printer's controller believes.

`asleft.measure` is the library of estimates; `asleft.connect(address)` gives a machine under
the same limits and interlocks as every other way in.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from asleft.controller.machine import Machine

__version__ = "0.1.0"


def connect(address: str, *, rate_baud: int | None = None) -> Machine:
    """Open the machine at an address, with the default limits of an undescribed machine.

    Args:
        address: a serial port or `socket://host:port`.
        rate_baud: the line's rate, or None for the default.

    Returns:
        The machine; use it as a context manager, so that its heaters are off afterwards.

    Raises:
        LineError: nobody answers, or another program holds the line.
    """
    import os

    from platformdirs import user_data_path

    from asleft.controller import MachineDescription
    from asleft.controller import connect as connect_described

    described = MachineDescription(
        name=f"machine at {address}", address=address, rate_baud=rate_baud
    )
    home = Path(os.environ.get("ASLEFT_HOME") or user_data_path("asleft", appauthor=False))
    machine = connect_described(described, home=home, holder="a program using asleft.connect")
    machine.identify()
    return machine
