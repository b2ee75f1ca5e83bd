"""What is special to a store on a database server: its address, its time-outs, when it is away.

Nobody waits for long before a server that went away. Passwords are shown nowhere. Not for what
is kept there; the tables are the same as in a file. Stands on nothing of ours but the errors.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Generator, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from asleft.errors import InputError, without_passwords

if TYPE_CHECKING:
    from sqlalchemy import URL, Engine
    from sqlalchemy import Connection as SqlConnection
    from sqlalchemy.exc import DBAPIError

Waits = Generator[Any, Any, Any]
CONNECT_S = 4
"""How long a connection may take: so long a person waits before a reading waits in their stead."""
SILENCE_S = 6
"""How long a server may leave what was sent unacknowledged."""
STATEMENT_S = 10
ANSWER_S = 12.0
"""How long an answer may take: what stands still, or a tunnel, takes all and says nothing."""
LEFT_OPEN_S = 8
"""How long a transaction of a laptop that died may hold up the others."""
_AWAY = ("08", "57P")  # SQLSTATE classes: connection exception; shut down, crashed, starting
_ADMIT = "Check the address; a password belongs into ~/.pgpass or PGPASSWORD."
_KEEPER = "Ask whoever keeps the server."
_REFUSED = (
    ("authentication failed", "the store's server does not know this name and password", _ADMIT),
    ("no password supplied", "the store's server asks for a password", _ADMIT),
    ("no pg_hba.conf entry", "the store's server does not admit this user from here", _KEEPER),
    ("does not exist", "there is no such user or database on the store's server", _ADMIT),
    ("too many clients", "the store's server has too many visitors", _KEEPER),
    ("permission", "this user may not make or write what a store needs", _KEEPER),
)
SERVER_WORDS = (
    *_REFUSED,
    ("no space left", "the disk of the store's server is full", _KEEPER),
    ("read-only transaction", "the store's server takes nothing at present", _KEEPER),
    ("timeout", "another program keeps the store busy", "Wait for it to end, then try again."),
    ("duplicate key", "another laptop has just written the same", "Look, then do it again."),
)
"""What a server says, in our words: a part of its text, what is wrong, what to do."""


def is_url(home: Path | str) -> bool:
    """Whether a store is named by URL and not by a folder."""
    return "://" in str(home)


def shown_place(home: Path | str) -> str:
    """A home folder or database URL as it may be shown: without the password."""
    if not is_url(home):
        return str(home)
    from sqlalchemy import make_url
    from sqlalchemy.exc import ArgumentError

    try:
        url = make_url(without_passwords(str(home)))
    except (ArgumentError, ValueError):
        return f"{str(home).partition('://')[0]}://…"
    return url.render_as_string(hide_password=True)


def server_url(text: str, *, where: str = "store") -> URL:
    """The address of a PostgreSQL database, with the driver that we come with.

    Raises:
        InputError: it is no such address. What was typed is not repeated: it may hold a password.
    """
    from sqlalchemy import make_url
    from sqlalchemy.exc import ArgumentError

    try:
        url = make_url(re.sub(r"^postgres(ql)?://", "postgresql+psycopg://", text))
    except (ArgumentError, ValueError) as error:
        raise _no_address(where) from error
    if url.drivername != "postgresql+psycopg":
        raise _no_address(where)
    return url


def _no_address(where: str) -> InputError:
    return InputError(
        "this is no address of a store",
        hint="It is written postgresql://USER@HOST/DATABASE; letters such as @ or / in a password"
        " as %40, %2F. A folder is given with --home.",
        where=where,
    )


def server_engine(text: str, to_json: Callable[[Any], str]) -> Engine:
    """An engine that gives up soon, and lets nobody wait for a transaction left open.

    Raises:
        InputError: no address of ours, or the driver is not installed.
    """
    from sqlalchemy import create_engine

    options = (
        f"-c statement_timeout={STATEMENT_S}s -c lock_timeout={STATEMENT_S}s"
        f" -c idle_in_transaction_session_timeout={LEFT_OPEN_S}s"
    )
    try:
        engine = create_engine(
            server_url(text),
            json_serializer=to_json,
            pool_pre_ping=True,
            use_native_hstore=False,  # a question less at every opening, of which a page has many
            hide_parameters=True,
            connect_args={
                "connect_timeout": CONNECT_S,
                "tcp_user_timeout": SILENCE_S * 1000,
                "keepalives_idle": SILENCE_S // 2,
                "keepalives_interval": 1,
                "keepalives_count": SILENCE_S // 2,
                "options": options,
                "application_name": "asleft",
            },
        )
    except ModuleNotFoundError as error:
        raise InputError(
            "what talks to a database server is not installed",
            hint="Install it: pip install 'asleft[postgres]'.",
            where="store",
        ) from error
    _listen_impatiently(engine)
    return engine


def _listen_impatiently(engine: Engine) -> None:
    """Have every connection give up where an answer does not come in `ANSWER_S`."""
    from psycopg import Connection, OperationalError
    from sqlalchemy import event

    class Impatient(Connection[Any]):
        answer_s: float | None = ANSWER_S

        def wait(self, gen: Waits, *how: Any, **more: Any) -> Any:
            return super().wait(self._bounded(gen), *how, **more)

        def _bounded(self, gen: Waits) -> Waits:
            until_s = None if self.answer_s is None else time.monotonic() + self.answer_s
            try:
                wanted = next(gen)
                while True:
                    ready = yield wanted
                    if not ready and until_s is not None and time.monotonic() > until_s:
                        self.pgconn.finish()
                        raise OperationalError("the server does not answer")
                    wanted = gen.send(ready)
            except StopIteration as end:
                return end.value

    @event.listens_for(engine, "do_connect")
    def _connect(_dialect: Any, _record: Any, words: Any, options: Any) -> Any:
        return Impatient.connect(*words, **options)


@contextmanager
def patient(connection: SqlConnection) -> Iterator[None]:
    """For the present transaction of a server, let both ends wait for as long as it takes."""
    if connection.dialect.name == "sqlite":
        yield
        return
    for name in ("statement_timeout", "lock_timeout", "idle_in_transaction_session_timeout"):
        connection.exec_driver_sql(f"SET LOCAL {name} = 0")
    driver: Any = connection.connection.driver_connection
    before, driver.answer_s = driver.answer_s, None
    try:
        yield
    finally:
        driver.answer_s = before


def is_away(error: DBAPIError) -> bool:
    """Whether this says that the server does not answer, and nothing about what was asked."""
    if error.connection_invalidated:
        return True
    state = getattr(error.orig, "sqlstate", None)
    if state is not None:
        return str(state).startswith(_AWAY)
    from psycopg import OperationalError

    said = str(error.orig).lower()
    return isinstance(error.orig, OperationalError) and not any(
        word in said for word, *_ in _REFUSED
    )
