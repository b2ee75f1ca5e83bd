"""The one place that knows how operating systems differ about processes and their endings.

Nothing else assumes a signal, a process group or a fork. It knows no line and no machine.
"""

from __future__ import annotations

import asyncio
import math
import signal
import sys
import time
from collections.abc import Callable
from typing import Any

LONGEST_DEAF_WAIT_S = 0.05 if sys.platform == "win32" else math.inf
"""How long a thread may wait in one call: on Windows no signal is heard before the call returns."""


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


def keep_awake_commands() -> list[list[str]]:
    """Commands that keep the computer awake as long as `cat` reads, to be tried in turn.

    The first also holds a lid's switch back, which some systems do not let a program do.
    """
    if sys.platform == "darwin":
        return [["caffeinate", "-is", "cat"]]
    if sys.platform == "win32":
        return []
    inhibit = ["systemd-inhibit", "--who=asleft", "--why=A heated machine is being watched"]
    what = ("sleep:idle:handle-lid-switch", "sleep:idle")
    return [[*inhibit, f"--what={one}", "--mode=block", "cat"] for one in what]


def keep_thread_awake(on: bool) -> bool:
    """Where a call of the calling thread keeps the computer awake: whether it took effect."""
    if sys.platform == "win32":
        import ctypes

        continuous, system_required = 0x80000000, 0x00000001
        flags = continuous | (system_required if on else 0)
        return bool(ctypes.windll.kernel32.SetThreadExecutionState(flags))
    return False


def passing_s() -> float:
    """Seconds of a clock that goes on while the computer sleeps.

    Linux has one that nobody sets; elsewhere it is the wall clock.
    """
    if sys.platform != "linux":
        return time.time()
    return time.clock_gettime(time.CLOCK_BOOTTIME)
