"""Putting a backup in the place of the present store, which is kept aside.

Nothing is touched before all of the backup was checked, and a kill at any moment leaves the one
store or the other, whole. Not for kept states of a machine. Stands on `backup_file`.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Iterable
from contextlib import closing
from datetime import UTC
from pathlib import Path
from typing import Any

from asleft.errors import InputError, RefusedError
from asleft.record import backup_file
from asleft.record.backup import folder_of, to_disk, told_of
from asleft.record.engine import FILE_NAME, in_words, opening_lock
from asleft.record.tables import Clock

BESIDE = ("-wal", "-shm", "-journal")  # what SQLite may keep next to the store


def put_back(home: Path | str, file: Path, *, clock: Clock) -> dict[str, Any]:
    """Check a backup, keep the present store aside, and put the backup in its place.

    Args:
        home: the folder, made when missing; a database by URL is refused.
        file: what `back_up` wrote.
        clock: the time now, with a zone; it names the folder of what was kept aside.

    Returns:
        `asleft.restore_store/1`.

    Raises:
        InputError: there is no such file.
        RefusedError: no backup of ours, or a program has the present store open.
        StoreError: the backup is damaged or newer, or the disk is full; nothing was changed.
    """
    home = folder_of(home)
    if not file.is_file():
        raise InputError("there is no such file", hint="Check the name.", where=str(file))
    with in_words(str(home)):
        home.mkdir(parents=True, exist_ok=True)
        with backup_file.opened(file, home) as backup:
            with closing(sqlite3.connect(backup.store)) as connection:
                connection.execute("PRAGMA journal_mode = WAL")
            to_disk(backup.store)
            with opening_lock(home / FILE_NAME):
                aside = _swapped(backup, home, f"before-{clock().astimezone(UTC):%Y%m%dT%H%M%S-%f}")
            contents = dict(backup.contents)
    told = told_of("asleft.restore_store/1", file, contents)
    return told | {"home": str(home), "kept_aside": None if aside is None else str(aside)}


def _swapped(backup: backup_file.OpenBackup, home: Path, name: str) -> Path | None:
    """Put the parts in place; returns the folder of what was there before, if anything was."""
    present, aside = home / FILE_NAME, home / name
    _refuse_in_use(present)
    aside.mkdir()
    _put_wire_logs(backup.wire_logs, home / backup_file.WIRE, aside / backup_file.WIRE)
    _keep_aside(present, aside)
    backup.store.replace(present)
    to_disk(home)
    if any(aside.iterdir()):
        return aside
    aside.rmdir()
    return None


def _refuse_in_use(present: Path) -> None:
    """Refuse while any program has the store open: what it writes would go astray.

    Whoever works at a machine has the store open, so this covers every held machine. The store
    is taken out of WAL, so that it is one file, and so that whoever comes now meets the lock
    of those who open (see `engine`).

    Raises:
        RefusedError: it is open elsewhere.
    """
    if not present.is_file():
        return
    with closing(sqlite3.connect(present, isolation_level=None, timeout=0.5)) as connection:
        try:
            connection.execute("PRAGMA locking_mode = EXCLUSIVE")
            connection.execute("BEGIN EXCLUSIVE")
            connection.execute("COMMIT")
            connection.execute("PRAGMA journal_mode = DELETE")
        except sqlite3.DatabaseError as error:
            if "locked" not in str(error):
                return  # so damaged that no program can have it open
            raise RefusedError(
                "another program has the store open, and may hold a machine",
                hint="End it first: the page, or a command in another terminal.",
                where=str(present),
            ) from error


def _keep_aside(present: Path, aside: Path) -> None:
    """The present store under a second name; its place is never empty."""
    if present.is_file():
        _name_twice(present, aside)
    for path in (present.with_name(present.name + end) for end in BESIDE):
        if path.is_file():  # of a store too damaged to take them in
            _name_twice(path, aside)
            path.unlink()
    page = present.with_name("page")  # what was on belongs to the store that goes
    if page.is_dir():
        page.rename(aside / page.name)


def _name_twice(path: Path, aside: Path) -> None:
    """Give a file a second name in another folder, or copy it where a disk has no such thing."""
    aside.mkdir(exist_ok=True)
    try:
        os.link(path, aside / path.name)
    except OSError:
        shutil.copy2(path, aside / path.name)
        to_disk(aside / path.name)
    to_disk(aside)


def _put_wire_logs(logs: Iterable[Path], folder: Path, aside: Path) -> None:
    """Put the wire logs back; one that is longer here than in the backup stays."""
    for log in logs:
        target = folder / log.name
        if target.exists():
            if target.read_bytes().startswith(log.read_bytes()):
                continue
            _name_twice(target, aside)
        folder.mkdir(exist_ok=True)
        to_disk(log)
        log.replace(target)
    to_disk(folder)
