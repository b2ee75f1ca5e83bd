"""Transactions over a network, each with a proof that it came in.

The first row that such a transaction writes is a token of its own. When the answer to the commit is
lost, the token says how it ended: the server lets nobody write it a second time, and whoever tries
waits until the first is decided. Knows no table but the one for tokens.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from asleft.errors import StoreAwayError
from asleft.record.server import is_away

if TYPE_CHECKING:
    from sqlalchemy import Connection, Engine, Insert, Transaction

SETTLE_S = 10.0
"""How long a server that went away in mid commit is awaited, to learn how that ended."""
_AGAIN_S = 0.2


class DeliveredBefore(Exception):  # noqa: N818 - good news, not a fault
    """A transaction of this token came in earlier."""


@contextmanager
def proved(engine: Engine, mark: Insert, *, settle: bool) -> Iterator[Connection]:
    """One transaction that leaves its token: all of the block is kept, or nothing.

    Args:
        engine: of a database server.
        mark: writes the token.
        settle: wait to learn how a commit without an answer ended; else that is an error.

    Raises:
        DeliveredBefore: the token is there already; the block was not run.
        StoreAwayError: the server went away in mid commit and did not come back to settle it.
        DBAPIError: anything else; nothing was kept.
    """
    with engine.connect() as connection:
        transaction = connection.begin()
        try:
            _write(connection, mark)
            yield connection
        except BaseException:
            transaction.rollback()
            raise
        _commit(engine, transaction, mark if settle else None)


def _write(connection: Connection, mark: Insert) -> None:
    from sqlalchemy.exc import IntegrityError

    try:
        connection.execute(mark)
    except IntegrityError as error:
        raise DeliveredBefore from error


def _commit(engine: Engine, transaction: Transaction, mark: Insert | None) -> None:
    from sqlalchemy.exc import DBAPIError

    try:
        transaction.commit()
    except DBAPIError as error:
        if not is_away(error) or mark is None or not _came_in(engine, mark):
            raise


def _came_in(engine: Engine, mark: Insert) -> bool:
    """Whether a transaction whose commit got no answer is in the store.

    Raises:
        StoreAwayError: the server does not come back, so that nobody knows.
    """
    from sqlalchemy.exc import DBAPIError

    until = time.monotonic() + SETTLE_S
    while True:
        try:
            with engine.connect() as connection:
                _write(connection, mark)
                connection.rollback()
            return False
        except DeliveredBefore:
            return True
        except DBAPIError as error:
            if not is_away(error):
                raise
            if time.monotonic() > until:
                raise StoreAwayError(
                    "the store's server went away while this was written: whether it was kept is"
                    " not known",
                    hint="When it is back, look whether it is there before you do it again.",
                ) from error
        time.sleep(_AGAIN_S)
