"""What Ctrl-C, a closed terminal and a request to end do: stop first, then unwind.

Not for making the machine safe in the end (that is the bench's way out); this is the first
hundred milliseconds. Callbacks run in the main thread, between two of its instructions.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

_NAMES = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")  # the last two are not on every system
_callbacks: list[Callable[[], None]] = []
_received: list[int] = []


def install() -> None:
    """Take over the signals that end a program. A hang-up that was ignored stays ignored."""
    for name in _NAMES:
        number = getattr(signal, name, None)
        if number is None:
            continue
        if name == "SIGHUP" and signal.getsignal(number) is signal.SIG_IGN:
            continue
        signal.signal(number, _handle)


@contextmanager
def on_stop(callback: Callable[[], None]) -> Iterator[None]:
    """While the block runs, a signal calls `callback` before anything else happens.

    Args:
        callback: writes the stop ahead of everything that waits, and returns at once. It may
            interrupt the main thread anywhere, so it must not wait for a lock held there.
    """
    _callbacks.append(callback)
    try:
        yield
    finally:
        _callbacks.remove(callback)


def _handle(number: int, _frame: FrameType | None) -> None:
    """Stop the machine, then unwind; a second signal does not cut the way out short."""
    _received.append(number)
    for callback in reversed(_callbacks):
        try:
            callback()
        except Exception:
            import logging

            logging.getLogger(__name__).exception("the stop could not be written")
            os.write(2, b"\nThe stop could not be sent: use the power switch of the machine.\n")
    if len(_received) == 2 and _callbacks:
        os.write(2, b"\nStill making the machine safe; once more to leave at once.\n")
        return
    raise KeyboardInterrupt
