"""What the machine's own storage is told, and what it answers to that.

Storing and reloading only: what is in force is read by `reading`, and whether something is really
stored is seen after a reload or a power cycle, never here. Stands on `asking`.
"""

from __future__ import annotations

import re

from asleft.controller.asking import Asker
from asleft.errors import RefusedError

_STORE_S = 20.0  # writing a flash page, generously
_STORED = re.compile(r"\b(?:stored|saved|written)\b", re.IGNORECASE)
_NOT_STORED = re.compile(r"\b(?:not|no|fail\w*|error|cannot|can't|unable)\b", re.IGNORECASE)


def store(asker: Asker) -> bool | None:
    """Store everything that is in force (M500).

    Returns:
        True when the machine says so, False when it says that it did not, None when it
        says nothing: an ok proves nothing, only a report after a reload or a power cycle.
    """
    heard = asker.ask("M500", within_s=_STORE_S, may_refuse=True)
    if heard.unknown or heard.answer.errors:
        return False
    said = [text for text in heard.texts if _STORED.search(text)]
    if any(not _NOT_STORED.search(text) for text in said):
        return True
    return False if said or any(_NOT_STORED.search(text) for text in heard.texts) else None


def reload(asker: Asker, *, discard_unstored: bool) -> None:
    """Put what is stored into force again (M501). Discards what was not stored.

    Raises:
        RefusedError: the caller does not say that the unstored may go; nothing was sent.
    """
    if not discard_unstored:
        raise RefusedError(
            "reloading discards every value that was not stored",
            hint="Store first, or say that the values in force may go.",
        )
    asker.homed.clear()  # home offsets, arms and end stops are among what is reloaded
    asker.ask("M501", within_s=_STORE_S, awaited="the stored values")
