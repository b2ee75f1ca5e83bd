"""Backing the whole store up into one file, which is read again before it gets its name.

Not for putting it back: that is `restoring`. Not for a database on a server, which has tools of
its own. Stands on `backup_file` and the engine.
"""

from __future__ import annotations

import os
import sqlite3
import sys
from contextlib import closing, suppress
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from asleft.errors import InputError, RefusedError, StoreError
from asleft.record import backup_file
from asleft.record.engine import FILE_NAME, in_words, open_engine
from asleft.record.tables import Clock, utc_text


def back_up(home: Path | str, file: Path, *, clock: Clock, force: bool = False) -> dict[str, Any]:
    """Write the store of a home and its wire logs into one file, and read that again.

    Args:
        home: the folder; a database by URL is refused.
        file: where to; an existing file is refused.
        clock: the time now, with a zone.
        force: let it take the place of an earlier backup, once it was read again.

    Returns:
        `asleft.backup/1`.

    Raises:
        InputError: no such store, or no place for a file.
        RefusedError: a database server, which has its own way of backing up.
        StoreError: the store is damaged or cannot be read, or the disk is full.
    """
    home = folder_of(home)
    if not (home / FILE_NAME).is_file():
        raise InputError("there is no store here yet", hint="Check --home.", where=str(home))
    _require_place(file, force=force)
    part = file.with_name(f".{file.name}.{os.getpid()}.part")
    try:
        with in_words(str(file)), TemporaryDirectory(prefix=".store-", dir=part.parent) as folder:
            copy = Path(folder) / FILE_NAME
            told = _copied(home, copy) | {"made_at": utc_text(clock())}
            logs, missing = _wire_logs(home, copy)
            told["missing_wire_logs"] = missing
            backup_file.write(part, told, {FILE_NAME: copy, **logs})
            to_disk(part)
            with backup_file.opened(part, Path(folder)) as again:
                contents = dict(again.contents)
            part.replace(file)
            to_disk(file.parent)
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)
    return told_of("asleft.backup/1", file, contents)


def _require_place(file: Path, *, force: bool) -> None:
    """See that a backup may be written here.

    Raises:
        InputError: no such folder; a file stands there, which only `force` and only for an
            earlier backup overcomes.
    """
    if not file.absolute().parent.is_dir():
        raise InputError("there is no such folder", hint="Make it first.", where=str(file))
    if not file.exists():
        return
    if not force:
        raise InputError(
            "there is a file of this name already",
            hint="Give a new name, or --force if an earlier backup may go.",
            where=str(file),
        )
    if not backup_file.is_backup(file):
        raise InputError(
            "the file of this name is no backup, and is not overwritten",
            hint="Give a new name.",
            where=str(file),
        )


def folder_of(home: Path | str) -> Path:
    """The home as a folder.

    Raises:
        RefusedError: it is a database server, whose copies are its own matter.
    """
    if "://" in str(home) or ":/" in str(home)[2:]:
        raise RefusedError(
            "this store is on a database server, and backups here are of files only",
            hint="Use the server's own tools, pg_dump and pg_restore; keep the wire logs with it.",
            where="store",
        )
    return Path(home)


def _copied(home: Path, copy: Path) -> dict[str, Any]:
    """The store as it is at one moment, in a new file; others may go on writing meanwhile."""
    open_engine(home).dispose()  # refuses a newer store; brings an older one up to date
    source = f"{(home / FILE_NAME).absolute().as_uri()}?mode=rw"
    try:
        with closing(sqlite3.connect(source, uri=True, isolation_level=None)) as connection:
            backup_file.state(connection)
            connection.execute("VACUUM INTO ?", (str(copy),))
        with closing(sqlite3.connect(copy)) as connection:
            return backup_file.state(connection)
    except ValueError as error:
        raise StoreError(
            f"the store cannot be backed up: {error}",
            hint="Keep a copy of the home folder as it is, and restore an earlier backup.",
            where=str(home),
        ) from error


def _wire_logs(home: Path, copy: Path) -> tuple[dict[str, Path], list[str]]:
    """Every wire log of the home and every one the store speaks of; and those that are gone.

    A log's name holds machine and time: it is the same log wherever its folder went.
    """
    folder = home / backup_file.WIRE
    found = {path.name: path for path in sorted(folder.glob("*.log"))}
    with closing(sqlite3.connect(copy)) as connection:
        named = [Path(row[0]) for row in connection.execute("SELECT DISTINCT path FROM wire_log")]
    for path in named:
        if path.name not in found and path.is_file():
            found[path.name] = path
    missing = sorted({str(path) for path in named if path.name not in found})
    return {f"{backup_file.WIRE}/{name}": path for name, path in found.items()}, missing


def told_of(schema: str, file: Path, contents: dict[str, Any]) -> dict[str, Any]:
    """What both commands say of a backup."""
    logs = [name for name in contents["parts"] if name != FILE_NAME]
    return {
        "schema": schema,
        "file": str(file),
        "bytes": file.stat().st_size,
        "sha256": contents["sha256"],
        "made_at": contents["made_at"],
        "revision": contents["revision"],
        "rows": contents["rows"],
        "wire_logs": len(logs),
        "missing_wire_logs": contents["missing_wire_logs"],
    }


def to_disk(path: Path) -> None:
    """Have the system write a file or a folder out, where it can."""
    # On Windows only what may be written can be written out, and a folder not at all.
    flags = os.O_RDWR if sys.platform == "win32" else os.O_RDONLY
    with suppress(OSError):
        number = os.open(path, flags)
        try:
            os.fsync(number)
        finally:
            os.close(number)
