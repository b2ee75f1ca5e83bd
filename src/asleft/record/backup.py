"""Backing the whole store up into one file, and putting it back in place of the present one.

Both check themselves: a backup is read again before it gets its name, and nothing is put back
before all of it was checked. The present store is kept aside. Stands on `backup_file`.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Iterable
from contextlib import closing, suppress
from datetime import UTC
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from asleft.errors import InputError, RefusedError, StoreError
from asleft.record import backup_file
from asleft.record.engine import FILE_NAME, in_words, open_engine
from asleft.record.tables import Clock, utc_text

BESIDE = ("-wal", "-shm")  # what SQLite may keep next to the store


def back_up(home: Path | str, file: Path, *, clock: Clock) -> dict[str, Any]:
    """Write the store of a home and its wire logs into one file, and read that again.

    Args:
        home: the folder; a database by URL is refused.
        file: where to; an existing file is refused.
        clock: the time now, with a zone.

    Returns:
        `asleft.backup/1`.

    Raises:
        InputError: no such store, or no place for a file.
        RefusedError: a database server, which has its own way of backing up.
        StoreError: the store is damaged or cannot be read, or the disk is full.
    """
    home = _folder(home)
    if not (home / FILE_NAME).is_file():
        raise InputError("there is no store here yet", hint="Check --home.", where=str(home))
    if file.exists() or not file.absolute().parent.is_dir():
        raise InputError(
            "there is a file of this name already" if file.exists() else "there is no such folder",
            hint="Give a new name; a backup never overwrites anything.",
            where=str(file),
        )
    part = file.with_name(f".{file.name}.{os.getpid()}.part")
    try:
        with in_words(str(file)), TemporaryDirectory(prefix=".store-", dir=part.parent) as folder:
            copy = Path(folder) / FILE_NAME
            told = _copied(home, copy) | {"made_at": utc_text(clock())}
            logs, missing = _wire_logs(home, copy)
            told["missing_wire_logs"] = missing
            backup_file.write(part, told, {FILE_NAME: copy, **logs})
            _to_disk(part)
            with backup_file.opened(part, Path(folder)) as again:
                contents = dict(again.contents)
            part.replace(file)
            _to_disk(file.parent)
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)
    return _told("asleft.backup/1", file, contents)


def put_back(home: Path | str, file: Path, *, clock: Clock) -> dict[str, Any]:
    """Check a backup, keep the present store aside, and put the backup in its place.

    Returns:
        `asleft.restore_store/1`.

    Raises:
        RefusedError: no backup of ours, or a program has the present store open.
        StoreError: the backup is damaged or newer, or the disk is full; nothing was changed.
    """
    home = _folder(home)
    if not file.is_file():
        raise InputError("there is no such file", hint="Check the name.", where=str(file))
    with in_words(str(home)):
        home.mkdir(parents=True, exist_ok=True)
        with backup_file.opened(file, home) as backup:
            with closing(sqlite3.connect(backup.store)) as connection:
                connection.execute("PRAGMA journal_mode = WAL")
            _to_disk(backup.store)
            present = home / FILE_NAME
            aside: Path | None = None
            if any(path.exists() for path in (present, home / backup_file.WIRE)):
                _refuse_in_use(present)
                aside = home / f"before-{clock().astimezone(UTC):%Y%m%dT%H%M%S-%f}"
                aside.mkdir()
            _put_wire_logs(backup.wire_logs, home / backup_file.WIRE, aside)
            if aside is not None:
                _keep_aside(present, aside)
            backup.store.replace(present)
            _to_disk(home)
            if aside is not None and not any(aside.iterdir()):
                aside.rmdir()
                aside = None
            contents = dict(backup.contents)
    told = _told("asleft.restore_store/1", file, contents)
    return told | {"home": str(home), "kept_aside": None if aside is None else str(aside)}


def _folder(home: Path | str) -> Path:
    """The home as a folder.

    Raises:
        RefusedError: it is a database server, whose copies are its own matter.
    """
    if "://" in str(home) or ":/" in str(home)[2:]:
        raise RefusedError(
            "this store is on a database server, and backups here are of files only",
            hint="Use the backup of that server; keep the wire logs with it.",
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


def _refuse_in_use(present: Path) -> None:
    """Refuse while any program has the store open: what it writes would go astray.

    Whoever works at a machine has the store open, so this covers every held machine.
    """
    if not present.is_file():
        return
    with closing(sqlite3.connect(present, isolation_level=None, timeout=0.5)) as connection:
        try:
            connection.execute("PRAGMA locking_mode = EXCLUSIVE")
            connection.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError as error:
            if "locked" not in str(error):
                return  # so damaged that no program can have it open
            raise RefusedError(
                "another program has the store open, and may hold a machine",
                hint="End it first: the page, or a command in another terminal.",
                where=str(present),
            ) from error
        except sqlite3.DatabaseError:
            return


def _keep_aside(present: Path, aside: Path) -> None:
    """The present store under a second name; its place is never empty."""
    for path in (present, *(present.with_name(present.name + end) for end in BESIDE)):
        if not path.is_file():
            continue
        try:
            os.link(path, aside / path.name)
        except OSError:  # a file system without second names
            shutil.copy2(path, aside / path.name)
        _to_disk(aside)
        if path != present:
            path.unlink()
    page = present.with_name("page")  # what was on belongs to the store that goes
    if page.is_dir():
        page.rename(aside / page.name)


def _put_wire_logs(logs: Iterable[Path], folder: Path, aside: Path | None) -> None:
    """Put the wire logs back; one that is longer here than in the backup stays."""
    for log in logs:
        target = folder / log.name
        if target.exists():
            if target.read_bytes().startswith(log.read_bytes()):
                continue
            if aside is not None:
                (aside / folder.name).mkdir(exist_ok=True)
                target.rename(aside / folder.name / target.name)
        folder.mkdir(exist_ok=True)
        log.replace(target)


def _told(schema: str, file: Path, contents: dict[str, Any]) -> dict[str, Any]:
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


def _to_disk(path: Path) -> None:
    """Have the system write a file or a folder out, where it can."""
    with suppress(OSError):
        number = os.open(path, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)
