"""Opens the database under the store: connection habits, revision check, error words.

Knows no table but the one that holds the revision. What is special to SQLite stands in
`_sqlite_habits` and nowhere else above the migrations. Above it stands `tables`.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import cache
from pathlib import Path
from shutil import disk_usage
from tempfile import TemporaryFile
from typing import TYPE_CHECKING, Any

from asleft.errors import StoreAwayError, StoreError
from asleft.record.server import (
    SERVER_WORDS,
    is_away,
    is_url,
    patient,
    server_engine,
    shown_place,
)

if TYPE_CHECKING:
    from filelock import BaseFileLock
    from sqlalchemy import Connection, Engine

FILE_NAME = "asleft.sqlite"
MIGRATIONS = "asleft.record:migrations"
BUSY_TIMEOUT_S = 15.0
ONE_MIGRATES = 0x61736C656674  # a number of ours, the same for every laptop
ROOM_BYTES = 4 << 20  # an evening's rows and wire logs fit in; ours
_FULL = "Make room; everything stored before is still there."
_WORDS = (
    ("full", "the disk is full", _FULL),
    ("no space left", "the disk is full", _FULL),
    ("quota", "the disk is full for this user", _FULL),
    ("file too large", "the store may not grow any further", "Raise the limit on file sizes."),
    ("disk i/o", "the disk cannot be read or written", "Check the disk, and whether it is full."),
    ("readonly", "the store cannot be written", "Check the rights of the folder, or use --home."),
    ("read-only", "the store cannot be written", "Check the rights of the folder, or use --home."),
    ("permission denied", "the store cannot be opened", "Check the rights of the folder."),
    ("unable to open", "the store cannot be opened", "Check the folder and its rights."),
    ("locked", "another program keeps the store busy", "Wait for it to end, then try again."),
    ("could not be acquired", "another program keeps the store busy", "Try again when it ended."),
    (
        "not a database",
        "the store is no database of ours",
        "Put a backup back: `asleft restore-store`.",
    ),
    ("malformed", "the store is damaged", "Keep a copy, then: `asleft restore-store`."),
)


def open_engine(home: Path | str) -> Engine:
    """Open, and create or migrate where needed, the database of a home folder or URL.

    Args:
        home: folder that holds (or will hold) the store's file, or a database URL.

    Raises:
        StoreError: not writable, no database, or written by a newer program (left untouched).
    """
    where = shown_place(home)
    with in_words(where):
        engine = server_engine(str(home), to_json) if is_url(home) else _file_engine(Path(home))
        engine.update_execution_options(compiled_cache=_compiled())
        try:
            _bring_to_head(engine, where)
        except BaseException:
            engine.dispose()
            raise
        # Statements are compiled for one dialect object: the first that came to know this place.
        engine.dialect = _dialects().setdefault(str(engine.url), engine.dialect)
    return engine


def _file_engine(folder: Path) -> Engine:
    from sqlalchemy import URL, create_engine

    folder.mkdir(parents=True, exist_ok=True)
    url = URL.create("sqlite", database=str(folder / FILE_NAME))  # as it is, whatever stands in it
    engine = create_engine(url, json_serializer=to_json, hide_parameters=True)
    _sqlite_habits(engine)
    return engine


@cache
def _compiled() -> Any:
    """Statements compiled once a program and not once an engine: a page opens many."""
    from sqlalchemy.util import LRUCache

    return LRUCache(500)  # what an engine of its own would keep


@cache
def _dialects() -> dict[str, Any]:
    """The dialect of each place opened so far, by its URL."""
    return {}


def to_json(value: Any) -> str:
    """JSON text without NaN or infinity, keys as given."""
    return json.dumps(value, allow_nan=False, ensure_ascii=False)


def _sqlite_habits(engine: Engine) -> None:
    """Durable, checked, and one writer at a time: what SQLite does only when told."""
    from sqlalchemy import event

    @event.listens_for(engine, "connect")
    def _pragmas(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # BEGIN is ours, see below
        for pragma in (
            f"busy_timeout = {int(BUSY_TIMEOUT_S * 1000)}",
            "foreign_keys = ON",
            "synchronous = FULL",
            "recursive_triggers = ON",  # so that INSERT OR REPLACE meets the delete guard
        ):
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        reading = connection.get_execution_options().get("reading", False)
        connection.exec_driver_sql("BEGIN" if reading else "BEGIN IMMEDIATE")


def _revision(connection: Connection) -> str | None:
    from sqlalchemy import inspect, text

    if connection.dialect.name == "sqlite":
        is_there = inspect(connection).has_table("alembic_version")
    else:  # at every opening: asked in the shortest way
        asked = connection.exec_driver_sql("SELECT to_regclass('alembic_version')")
        is_there = asked.scalar() is not None
    if not is_there:
        return None
    found = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    return None if found is None else str(found)


def opening_lock(file: Path | str) -> BaseFileLock:
    """What one holds to make, migrate or replace a store's file; those who open wait for it.

    Raises:
        Timeout: when entered while another process keeps it; an OSError.
    """
    from filelock import FileLock

    return FileLock(f"{file}.lock", timeout=BUSY_TIMEOUT_S * 4)


def _bring_to_head(engine: Engine, where: str) -> None:
    from asleft.record.schema import HEAD

    with engine.connect().execution_options(reading=True) as connection:
        found, settled = _revision(connection), _is_settled(connection)
    if found == HEAD and settled:  # the usual case: alembic is not even imported
        return
    refuse_newer(found, where)
    file = engine.url.database if engine.dialect.name == "sqlite" else None
    if file is None or file == ":memory:":
        _migrate(engine, where)
        return
    with opening_lock(file):
        engine.dispose()  # what was opened before may have been replaced meanwhile
        raw = engine.raw_connection()  # outside any transaction, where alone this may change
        try:
            raw.cursor().execute("PRAGMA journal_mode = WAL")
        finally:
            raw.close()
        _migrate(engine, where)


def _is_settled(connection: Connection) -> bool:
    """Whether a store in a file writes ahead; one that does not is new or is being replaced."""
    if connection.dialect.name != "sqlite":
        return True
    return connection.exec_driver_sql("PRAGMA journal_mode").scalar() != "delete"


def refuse_newer(found: str | None, where: str) -> None:
    """Refuse a revision that this program does not know.

    Raises:
        StoreError: it was written by a newer program.
    """
    from asleft.record.schema import HEAD, REVISIONS

    if found is not None and found not in REVISIONS:
        raise StoreError(
            f"the store has revision {found}, newer than {HEAD} which this program knows",
            hint="Use the newer program; nothing was changed.",
            where=where,
        )


def _migrate(engine: Engine, where: str) -> None:
    """Run the missing steps in one transaction, unless another process just did."""
    from alembic import command
    from alembic.config import Config

    from asleft.record.schema import HEAD

    with engine.begin() as connection, patient(connection):
        if connection.dialect.name != "sqlite":  # whose transactions write one at a time anyway
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({ONE_MIGRATES})")
        found = _revision(connection)
        refuse_newer(found, where)
        if found == HEAD:
            return
        config = Config()
        config.set_main_option("script_location", MIGRATIONS)
        config.set_main_option("path_separator", "os")
        config.attributes["connection"] = connection
        command.upgrade(config, "head")


def require_sound(connection: Connection, where: str) -> None:
    """Check the pages of a store in a file, write to it, and try the room beside it.

    What is written changes nothing; only a real write meets every limit of a disk. A store on a
    database server is asked for a transaction that may write.

    Raises:
        StoreError: its pages are damaged.
        SQLAlchemyError, OSError: it cannot be written; `in_words` has the words.
    """
    if connection.dialect.name != "sqlite":
        connection.exec_driver_sql("SELECT pg_current_xact_id()")
        connection.rollback()
        return
    said = connection.exec_driver_sql("PRAGMA quick_check(1)").scalar()
    if said != "ok":
        raise StoreError(
            f"the store is damaged: {said}",
            hint="Keep a copy of the home folder, and put a backup back: `asleft restore-store`.",
            where=where,
        )
    number = connection.exec_driver_sql("PRAGMA user_version").scalar()
    connection.exec_driver_sql(f"PRAGMA user_version = {number}")
    connection.commit()
    with TemporaryFile(dir=Path(where), prefix=".room-") as room:
        for _ in range(ROOM_BYTES >> 20):
            room.write(bytes(1 << 20))


def _is_full(where: str) -> bool:
    """Whether the disk of a folder has no room for a page."""
    with suppress(OSError):
        return disk_usage(where).free < 1 << 16
    return False


@contextmanager
def in_words(where: str) -> Iterator[None]:
    """Turn what the database or the disk says into a StoreError in words.

    Raises:
        StoreError: for any database error or OSError inside the block.
    """
    from sqlite3 import Error as FileError

    from sqlalchemy.exc import DBAPIError, SQLAlchemyError

    try:
        yield
    except (SQLAlchemyError, FileError, OSError) as error:
        if isinstance(error, DBAPIError) and is_url(where) and is_away(error):
            raise StoreAwayError(
                "the store's server does not answer",
                hint="Check the network and the server, then do it again; nothing of this step was"
                " stored.",
                where=where,
            ) from error
        said = str(error.orig) if isinstance(error, DBAPIError) else str(error)
        if "disk i/o" in said.lower() and _is_full(where):
            said = "full"  # what SQLite does not tell apart
        for needle, message, hint in SERVER_WORDS if is_url(where) else _WORDS:
            if needle in said.lower():
                raise StoreError(message, hint=hint, where=where) from error
        raise StoreError(
            f"the store refused: {said}", hint="Nothing of this step was stored.", where=where
        ) from error
