"""The one tree of errors, drawn whole in this file.

Every error a person can meet says what is wrong, where, and what to do about it.
`kind` is what the JSON shows, `exit_status` what the command line returns.

    AsleftError
      InputError      input    2   a file, option or typed number cannot be used
      RefusedError    refused  2   the request is understood and declined (another machine's state)
      StoreError      store    2   the store cannot be read or written (read-only, full, newer)
      LineError       line     3   the link to the machine failed, is held by another, or is silent
      MachineError    machine  3   the machine answered, and the answer is trouble
      BugError        bug      4   our own fault
      Stopped         stopped  130 the person, or a signal, stopped the work
"""

from __future__ import annotations

import re
from typing import ClassVar


class AsleftError(Exception):
    """Root of the tree. Not raised itself.

    Args:
        message: what is wrong, one sentence.
        hint: what to do about it, one sentence, or None.
        where: file and row, option, axis or address, or None.
    """

    kind: ClassVar[str] = "bug"
    exit_status: ClassVar[int] = 4

    def __init__(self, message: str, *, hint: str | None = None, where: str | None = None) -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint
        self.where = where

    def to_dict(self) -> dict[str, str | None]:
        """The error as the JSON of schema `asleft.error/1`."""
        return {
            "schema": "asleft.error/1",
            "kind": self.kind,
            "message": self.message,
            "hint": self.hint,
            "where": self.where,
        }


class InputError(AsleftError):
    """A file, an option or a typed number cannot be used. Nothing was sent or stored."""

    kind = "input"
    exit_status = 2


class RefusedError(AsleftError):
    """The request is understood and declined, for a reason the message gives."""

    kind = "refused"
    exit_status = 2


class StoreError(AsleftError):
    """The store cannot be read or written."""

    kind = "store"
    exit_status = 2


class StoreAwayError(StoreError):
    """The server that the store is on does not answer. What it has is untouched."""


class LineError(AsleftError):
    """The link failed, is silent, or is held by another program."""

    kind = "line"
    exit_status = 3


class MachineError(AsleftError):
    """The machine answered, and the answer is trouble."""

    kind = "machine"
    exit_status = 3


class MachineResetError(MachineError):
    """The machine restarted in mid session: whatever it had not stored is gone."""


class BugError(AsleftError):
    """Our own fault."""


class Stopped(AsleftError):  # noqa: N818 - a wish of the person, not a fault
    """The person, or a signal, stopped the work."""

    kind = "stopped"
    exit_status = 130


def without_passwords(text: str) -> str:
    """A text that is to be shown or written, with the passwords of all URLs in it starred out."""
    starred = re.sub(r"(://[^:/@\s'\"]*:)[^\s'\"]*@", r"\1***@", text)
    return re.sub(r"([?&]password=)[^&'\"\s]*", r"\1***", starred)
