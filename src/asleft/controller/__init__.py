"""The machine as its controller shows it: settings, kept states, heaters and motion under limits.

`connect` is the one way to a real or practice machine; the parsers work without any. The line's
process and its client live in `owner` and `line`. Knows neither trials nor the store.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

from asleft.controller.asking import tell_also
from asleft.controller.codes import cool_codes, feed_codes, heat_codes
from asleft.controller.description import MachineDescription
from asleft.controller.in_file import file_lines
from asleft.controller.kept import (
    Difference,
    departures,
    difference,
    lines_by_hand,
    restore_lines,
    same_within_digits,
)
from asleft.controller.limits import check_feed, check_target, check_tool
from asleft.controller.report import SettingsReport, parse_report, typed_report
from asleft.controller.setting import Setting
from asleft.controller.writing import loses_its_place, setting_lines
from asleft.link import Temperature

if TYPE_CHECKING:
    from asleft.controller.capabilities import Identity
    from asleft.controller.machine import Machine
    from asleft.controller.print_file import PrintFile, PrintLine, check_file
    from asleft.controller.printing import PrintOver

__all__ = [
    "Difference",
    "Identity",
    "Machine",
    "MachineDescription",
    "PrintFile",
    "PrintLine",
    "PrintOver",
    "Setting",
    "SettingsReport",
    "Temperature",
    "check_feed",
    "check_file",
    "check_target",
    "check_tool",
    "connect",
    "cool_codes",
    "departures",
    "difference",
    "feed_codes",
    "file_lines",
    "heat_codes",
    "lines_by_hand",
    "loses_its_place",
    "parse_report",
    "restore_lines",
    "same_within_digits",
    "setting_lines",
    "tell_also",
    "typed_report",
]


def connect(
    description: MachineDescription,
    *,
    home: Path,
    holder: str,
    heaters_off_first: bool = False,
    clock: Callable[[], float] = time.monotonic,
    pause: Callable[[float], None] = time.sleep,
) -> Machine:
    """Open a machine's line and ask first whether it is printing.

    Args:
        description: with its address.
        home: where wire logs live.
        holder: who asks, in words for whoever comes second.
        heaters_off_first: our own work may have left it hot: heaters off before any question,
            also before whether it is printing.
        clock: seconds, for bounds that come from physics.
        pause: waits the given seconds between two questions.

    Raises:
        InputError: the description has no address.
        LineError: the line cannot be opened, or another program holds it.
        RefusedError: it is printing; nothing but questions was sent.
    """
    from asleft.controller.connecting import connect_described

    return connect_described(
        description,
        home=home,
        holder=holder,
        heaters_off_first=heaters_off_first,
        clock=clock,
        pause=pause,
    )


_LATER = {
    "Identity": "capabilities",
    "Machine": "machine",
    "PrintFile": "print_file",
    "PrintLine": "print_file",
    "PrintOver": "printing",
    "check_file": "print_file",
}


def __getattr__(name: str) -> Any:
    """A public name whose file is imported at its first use (PEP 562)."""
    if name not in _LATER:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_LATER[name]}"), name)
