"""The store: everything that was ever seen, measured or changed, kept for good.

One door to its parts (`Changes` brings the trials along). Not for judging: what is kept is
judged by `trials` and `bench`.
SQLite in a home folder, or another database by URL. Stands on `engine` and `tables`.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Self

from asleft.record.calibrations import Calibrations
from asleft.record.changes import Changes
from asleft.record.engine import open_engine
from asleft.record.machines import Machines
from asleft.record.server import shown_place
from asleft.record.tables import Clock
from asleft.record.workplace import Workplace


def wall_clock() -> datetime:
    """The time now, in UTC."""
    return datetime.now(UTC)


class Store(Machines, Calibrations, Changes):
    """An open store. Every method is one short transaction; several processes may have it open.

    All methods raise `StoreError` when the database cannot be read or written.
    """

    @classmethod
    def open(
        cls, home: Path | str, *, clock: Clock = wall_clock, person: str | None = None
    ) -> Self:
        """Open the store of a home folder, or of a database URL; made when it is new.

        Args:
            home: folder (made when missing), or a URL such as `postgresql+psycopg://…`.
            clock: gives the time that rows are stamped with, with a zone.
            person: the name that rows are written under, or None where it is not known.

        Raises:
            StoreError: not readable, not writable, or written by a newer program.
        """
        return cls(open_engine(home), clock=clock, where=shown_place(home), person=person)

    @staticmethod
    def at(home: Path | Workplace, *, clock: Clock = wall_clock) -> Store:
        """Open the store of a workplace, or of a home folder; as `open`."""
        place = Workplace.of(home)
        if place.store_url is None:
            return Store.open(place.folder, clock=clock, person=place.person)
        from asleft.record.sharing.store import SharedStore

        shared = SharedStore.open(place.store_url, clock=clock, person=place.person)
        try:
            shared.keep_in(place.folder)
        except BaseException:
            shared.close()
            raise
        return shared

    def tell_to(self, tell: Callable[[str], None]) -> None:
        """Who is told what a store has to say while one works; one in a file says nothing."""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
