"""The one place that knows how operating systems differ about processes and their endings.

Nothing else assumes a signal, a process group or a fork. It knows no line and no machine.
"""

from __future__ import annotations

import asyncio
import signal
import sys
from collections.abc import Callable
from typing import Any


def apart_from_terminal() -> dict[str, Any]:
    """Arguments for `subprocess.Popen` that keep the terminal's Ctrl-C away from the child.

    A session of its own where there are sessions, a process group of its own on Windows.
    """
    if sys.platform == "win32":
        import subprocess

        return {"creationflags": subprocess.CREATE_NEW_PROCESS_GROUP}
    return {"start_new_session": True}


def on_ending(loop: asyncio.AbstractEventLoop, end: Callable[[], None]) -> None:
    """Ignore Ctrl-C and call `end` in the loop when the system asks this process to go.

    On POSIX that is SIGTERM (and SIGHUP), on Windows Ctrl-Break.
    """
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if sys.platform == "win32":
        signal.signal(signal.SIGBREAK, lambda *_: loop.call_soon_threadsafe(end))
        return
    for number in (signal.SIGTERM, signal.SIGHUP):
        loop.add_signal_handler(number, end)
