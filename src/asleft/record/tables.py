"""One short transaction at a time on the tables: write, read, and the clock.

The base of the store's four parts (machines, calibrations, trials, changes), which say what is
kept; this file says only how. Stands on `engine` and `schema`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any
from uuid import uuid4

from asleft.errors import InputError
from asleft.record import schema
from asleft.record.engine import in_words, require_sound, to_json
from asleft.record.server import is_url
from asleft.record.sharing.delivery import proved

if TYPE_CHECKING:
    from sqlalchemy import Connection, Engine, Insert, RowMapping, Table
    from sqlalchemy.sql.elements import ColumnElement

Clock = Callable[[], datetime]


def utc_text(moment: datetime) -> str:
    """ISO 8601 in UTC with microseconds and a `Z`; a naive time is refused.

    Raises:
        ValueError: the time has no zone.
    """
    if moment.tzinfo is None:
        raise ValueError("a time without a zone cannot be kept")
    return moment.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


class Tables:
    """The open database and its clock."""

    def __init__(
        self, engine: Engine, *, clock: Clock, where: str, person: str | None = None
    ) -> None:
        self._engine = engine
        self._clock = clock
        self._where = where
        self._person = person

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    def require_sound(self) -> None:
        """See that the store is whole and can take what is coming, before a machine is asked.

        Raises:
            StoreError: damaged (and left as it is), read-only, or without room on the disk.
        """
        with in_words(self._where), self._engine.connect() as connection:
            require_sound(connection, self._where)

    @property
    def person(self) -> str:
        """Who is at work, in words where the name is not known."""
        return self._person or "somebody"

    @property
    def shared(self) -> bool:
        """Whether the store is on a server, so that other laptops may work on it too."""
        return is_url(self._where)

    @contextmanager
    def _writing(self, token: str | None = None) -> Iterator[Connection]:
        """One immediate transaction: all of the block is kept, or nothing.

        On a server it leaves a token, so that one whose answer was lost is known to have come in.
        Who gives the token does the same again until it came in.

        Raises:
            DeliveredBefore: a transaction of this token came in earlier; the block was not run.
        """
        with in_words(self._where):
            if not self.shared:
                with self._engine.begin() as connection:
                    yield connection
                return
            mark = self._token_row(token or uuid4().hex)
            with proved(self._engine, mark, settle=token is None) as connection:
                yield connection

    def _token_row(self, token: str) -> Insert:
        """What writes a token, by the server's clock: it is of the delivery, not of the work."""
        from sqlalchemy import func

        now = func.timezone("UTC", func.clock_timestamp())
        at = func.to_char(now, 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"')
        return schema.delivery.insert().values(at=at, person=self._person, token=token)

    @contextmanager
    def _reading(self) -> Iterator[Connection]:
        """One consistent view; waits for no writer."""
        with (
            in_words(self._where),
            self._engine.connect().execution_options(reading=True) as connection,
        ):
            yield connection

    def _insert(self, connection: Connection, table: Table, **values: Any) -> int:
        """Add one row with the time now and who is at work, unless given; returns its number."""
        checked = {name: plain(value, name) for name, value in values.items()}
        at = checked.pop("at", None) or utc_text(self._clock())
        person = checked.pop("person", None) or self._person
        result = connection.execute(table.insert().values(at=at, person=person, **checked))
        (number,) = result.inserted_primary_key or (0,)
        return int(number)


def plain(value: Any, name: str) -> Any:
    """A value that JSON can hold as it is.

    Raises:
        InputError: NaN, infinity, or an object that JSON has no form for.
    """
    try:
        to_json(value)
    except (TypeError, ValueError) as error:
        raise InputError(f"{name} cannot be kept: {error}", where=name) from error
    return value


def rows(connection: Connection, table: Table, *where: ColumnElement[bool]) -> list[RowMapping]:
    """Rows in the order in which they were written."""
    query = table.select().where(*where).order_by(table.c.id)
    return list(connection.execute(query).mappings())


def latest(connection: Connection, table: Table, *where: ColumnElement[bool]) -> RowMapping | None:
    """The row written last, or None."""
    query = table.select().where(*where).order_by(table.c.id.desc()).limit(1)
    return connection.execute(query).mappings().first()
