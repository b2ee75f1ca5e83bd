"""Moving a store to another place: a home folder to a database server, or back.

Every row goes over as it is, numbers and times too, in one transaction that counts only once both
places gave the same dump. Not for the wire logs, which are files and stay where they are.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from asleft.errors import InputError, RefusedError, StoreError
from asleft.record.engine import FILE_NAME, in_words, open_engine, to_json
from asleft.record.server import is_url, patient, server_engine, shown_place

if TYPE_CHECKING:
    from sqlalchemy import Connection, Engine, Table

CHUNK_ROWS = 500
Place = Path | str


def move(source: Place, target: Place) -> dict[str, Any]:
    """Copy a whole store into an empty one; the source stays as it is.

    Args:
        source: home folder or database URL of the store.
        target: home folder or database URL; made when missing.

    Returns:
        `asleft.store_copy/1`. Passwords stand in none of it.

    Raises:
        InputError: there is no store at the source, or both are the same place.
        RefusedError: the target holds rows already; nothing was changed.
        StoreError: a place cannot be read or written; the target holds no row.
    """
    if _settled(source) == _settled(target):
        raise InputError("source and target are the same", hint="Name two places.", where="TO")
    if not _has_store(source):
        raise InputError("there is no store there", hint="Check FROM.", where=shown_place(source))
    left = open_engine(source)
    try:
        right = open_engine(target)
        try:
            told = _copied(left, right, shown_place(source), shown_place(target))
        finally:
            right.dispose()
    finally:
        left.dispose()
    return {
        "schema": "asleft.store_copy/1",
        "source": shown_place(source),
        "target": shown_place(target),
        **told,
    }


def _settled(place: Place) -> str:
    return str(place) if is_url(place) else str(Path(place).expanduser().resolve())


def _has_store(place: Place) -> bool:
    """Whether a store stands there; asking makes none."""
    if not is_url(place):
        return (Path(place) / FILE_NAME).is_file()
    from sqlalchemy import inspect

    with in_words(shown_place(place)):
        engine = server_engine(str(place), to_json)
        try:
            with engine.connect() as connection:
                return inspect(connection).has_table("alembic_version")
        finally:
            engine.dispose()


def _copied(left: Engine, right: Engine, source: str, target: str) -> dict[str, Any]:
    """All rows from one open database to the other, compared before they count."""
    from asleft.record.schema import HEAD, metadata

    with (
        in_words(source),
        left.connect().execution_options(**_one_view(left)) as reading,
        in_words(target),
        right.begin() as writing,
        patient(reading),
        patient(writing),
    ):
        _require_empty(writing, target)
        rows = {table.name: _table(reading, writing, table) for table in metadata.sorted_tables}
        before, after = dump_digest(reading), dump_digest(writing)
        if before != after:
            raise StoreError(
                "what was written is not what was read", hint="Nothing was moved.", where=target
            )
        _numbers_go_on(writing)
    return {"revision": HEAD, "rows": rows, "dump_sha256": after}


def _one_view(engine: Engine) -> dict[str, Any]:
    """What makes a connection see one moment, whoever writes meanwhile."""
    if engine.dialect.name == "sqlite":
        return {"reading": True}
    return {"isolation_level": "REPEATABLE READ", "postgresql_readonly": True}


def _require_empty(connection: Connection, where: str) -> None:
    """Hold every table and see that none has a row.

    Raises:
        RefusedError: one has.
    """
    from asleft.record.schema import metadata

    if connection.dialect.name != "sqlite":
        names = ", ".join(table.name for table in metadata.sorted_tables)
        connection.exec_driver_sql(f"LOCK TABLE {names} IN EXCLUSIVE MODE")
    for table in metadata.sorted_tables:
        if connection.execute(table.select().limit(1)).first() is not None:
            raise RefusedError(
                f"the target holds rows already (of {table.name})",
                hint="Name an empty folder or database; nothing was changed.",
                where=where,
            )


def _table(reading: Connection, writing: Connection, table: Table) -> int:
    """One table's rows; of calibrations each with its closing, as one machine has one open."""
    from asleft.record.schema import calibration, calibration_close

    if table is calibration_close:  # they went before
        return sum(1 for _ in _rows(reading, table))
    number = 0
    if table is not calibration:
        for chunk in _chunks(reading, table):
            writing.execute(table.insert(), chunk)
            number += len(chunk)
        return number
    closed = {row["calibration_id"]: row for row in _rows(reading, calibration_close)}
    for row in _rows(reading, calibration):
        writing.execute(calibration.insert(), row)
        if row["id"] in closed:
            writing.execute(calibration_close.insert(), closed[row["id"]])
        number += 1
    return number


def _chunks(connection: Connection, table: Table) -> Iterator[list[dict[str, Any]]]:
    """A table's rows by number, a bounded share at a time."""
    last = 0
    while True:
        query = table.select().where(table.c.id > last).order_by(table.c.id).limit(CHUNK_ROWS)
        chunk = [dict(row) for row in connection.execute(query).mappings()]
        if not chunk:
            return
        yield chunk
        last = int(chunk[-1]["id"])


def _rows(connection: Connection, table: Table) -> Iterator[dict[str, Any]]:
    for chunk in _chunks(connection, table):
        yield from chunk


def dump(connection: Connection) -> Iterator[str]:
    """The canonical dump: a JSON line a row, tables by name, rows by number, columns by name."""
    from asleft.record.schema import metadata

    for name in sorted(metadata.tables):
        for row in _rows(connection, metadata.tables[name]):
            yield to_json([name, sorted(row.items())])


def dump_digest(connection: Connection) -> str:
    """SHA-256 of the canonical dump."""
    seen = hashlib.sha256()
    for line in dump(connection):
        seen.update(line.encode() + b"\n")
    return seen.hexdigest()


def _numbers_go_on(connection: Connection) -> None:
    """Have a server number the next rows after those that came; SQLite does by itself."""
    from asleft.record.schema import metadata

    if connection.dialect.name == "sqlite":
        return
    for name in metadata.tables:
        connection.exec_driver_sql(
            f"SELECT setval(pg_get_serial_sequence('{name}', 'id'), max(id)) FROM {name}"  # noqa: S608
            " HAVING max(id) IS NOT NULL"
        )
