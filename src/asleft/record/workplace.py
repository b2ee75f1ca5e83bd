"""Where the work of one laptop is kept, and who works there.

A folder for what is the laptop's own (wire logs, locks, the log, readings that wait) and the store,
in that folder or on a server that several laptops share. Opens nothing by itself.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path


@dataclass(frozen=True)
class Workplace:
    """One laptop's part of a workshop.

    Args:
        folder: the home folder.
        store_url: address of the shared store; None keeps the store in the folder. It may hold a
            password and is never shown as it is.
        person: the name that every row is written under, or None where it is not known.
    """

    folder: Path
    store_url: str | None = field(default=None, repr=False)
    person: str | None = None

    @classmethod
    def of(cls, home: Path | Workplace) -> Workplace:
        """A workplace as it is; a folder as one whose store is in it."""
        return home if isinstance(home, Workplace) else cls(home)

    @property
    def store(self) -> Path | str:
        """Where the store is: the folder or the address."""
        return self.store_url or self.folder
