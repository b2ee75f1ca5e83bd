"""The form of a backup: one ZIP file with a list of contents, the store and its wire logs.

The list names every part with size and digest, and has a digest of its own; opening a backup
checks all of it, and the store inside as a database. Puts nothing anywhere: see `backup`.
"""

from __future__ import annotations

import hashlib
import json
import re
import sqlite3
import zlib
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from zipfile import ZIP_DEFLATED, BadZipFile, ZipFile

from asleft.errors import RefusedError, StoreError
from asleft.record.engine import FILE_NAME, refuse_newer

SCHEMA = "asleft.backup_file/1"
CONTENTS = "backup.json"
WIRE = "wire"
LONGEST_CONTENTS_BYTES = 64 << 20
_CHUNK_BYTES = 1 << 20
_PART = re.compile(rf"{re.escape(FILE_NAME)}|{WIRE}/[^/\\:\x00]+")


@dataclass(frozen=True)
class OpenBackup:
    """A backup that passed every check: its list of contents, and its parts in a folder."""

    contents: Mapping[str, Any]
    folder: Path

    @property
    def store(self) -> Path:
        """The store inside."""
        return self.folder / FILE_NAME

    @property
    def wire_logs(self) -> list[Path]:
        """The wire logs inside."""
        return [self.folder / name for name in self.contents["parts"] if name != FILE_NAME]


def write(file: Path, told: Mapping[str, Any], parts: Mapping[str, Path]) -> None:
    """Write a backup.

    Args:
        file: where to; it must not exist.
        told: what the list of contents says beside the parts.
        parts: the files, by the name they have inside.

    Raises:
        OSError: it cannot be read or written.
    """
    listed: dict[str, dict[str, Any]] = {}
    with file.open("xb") as raw, ZipFile(raw, "w", ZIP_DEFLATED) as archive:
        for name, path in parts.items():
            listed[name] = _pack(archive, name, path)
        contents = {"schema": SCHEMA, **told, "parts": listed}
        contents["sha256"] = digest(contents)
        archive.writestr(CONTENTS, json.dumps(contents, indent=1))


def _pack(archive: ZipFile, name: str, path: Path) -> dict[str, Any]:
    """Copy a file in; a wire log may grow meanwhile, and counts as far as it was read."""
    seen, size = hashlib.sha256(), 0
    with path.open("rb") as source, archive.open(name, "w", force_zip64=True) as inside:
        while chunk := source.read(_CHUNK_BYTES):
            inside.write(chunk)
            seen.update(chunk)
            size += len(chunk)
    return {"bytes": size, "sha256": seen.hexdigest()}


def digest(contents: Mapping[str, Any]) -> str:
    """SHA-256 of a list of contents without its own digest."""
    bare = {key: value for key, value in contents.items() if key != "sha256"}
    return hashlib.sha256(json.dumps(bare, sort_keys=True).encode()).hexdigest()


@contextmanager
def opened(file: Path, beside: Path) -> Iterator[OpenBackup]:
    """Check a backup and lay its parts into a folder that lives as long as the block.

    Args:
        file: the backup.
        beside: an existing folder, on the disk where the parts are wanted.

    Raises:
        RefusedError: it is no backup of ours.
        StoreError: damaged, not readable, or written by a newer program.
    """
    with TemporaryDirectory(prefix=".backup-", dir=beside) as name:
        folder = Path(name)
        yield OpenBackup(_laid_out(file, folder), folder)


def _laid_out(file: Path, folder: Path) -> dict[str, Any]:
    """The list of contents, once every part lies in the folder and was found as listed."""
    try:
        with ZipFile(file) as archive:
            contents = _contents(archive, file)
            for name, told in contents["parts"].items():
                _unpack(archive, name, told, folder)
        _check_store(folder / FILE_NAME, contents)
    except BadZipFile as error:
        raise _no_backup(file) if not _is_zip(file) else _damaged(file, str(error)) from error
    except (KeyError, TypeError, AttributeError, ValueError, EOFError, zlib.error) as error:
        raise _damaged(file, str(error)) from error
    except (NotImplementedError, RuntimeError) as error:  # a method or a password we never use
        raise _damaged(file, str(error)) from error
    return contents


def _contents(archive: ZipFile, file: Path) -> dict[str, Any]:
    if CONTENTS not in archive.namelist():
        raise _no_backup(file)
    if archive.getinfo(CONTENTS).file_size > LONGEST_CONTENTS_BYTES:
        raise ValueError("its list of contents is too long")
    contents = json.loads(archive.read(CONTENTS))
    kind, _, number = str(contents["schema"]).partition("/")
    if kind != SCHEMA.partition("/")[0]:
        raise _no_backup(file)
    if number != SCHEMA.partition("/")[2]:
        raise StoreError(
            f"the backup was written by a newer program: its form is {contents['schema']}",
            hint="Use the newer program; nothing was changed.",
            where=str(file),
        )
    if digest(contents) != contents["sha256"]:
        raise ValueError("its list of contents does not agree with its digest")
    refuse_newer(contents["revision"], str(file))
    return dict(contents)


def _unpack(archive: ZipFile, name: str, told: Mapping[str, Any], folder: Path) -> None:
    """Lay one part into the folder, no longer than listed and with the digest listed."""
    if not _PART.fullmatch(name) or Path(name).name in (".", ".."):
        raise ValueError(f"it has a part called {name!r}")
    target, seen, size = folder / name, hashlib.sha256(), 0
    target.parent.mkdir(exist_ok=True)
    with archive.open(name) as inside, target.open("xb") as out:
        while chunk := inside.read(_CHUNK_BYTES):
            size += len(chunk)
            if size > told["bytes"]:
                break
            seen.update(chunk)
            out.write(chunk)
    if size != told["bytes"] or seen.hexdigest() != told["sha256"]:
        raise ValueError(f"{name} does not agree with its digest")


def _check_store(store: Path, contents: Mapping[str, Any]) -> None:
    """The store inside is whole as a database, and has the rows and the revision listed."""
    try:
        with closing(
            sqlite3.connect(f"{store.absolute().as_uri()}?mode=ro", uri=True)
        ) as connection:
            said = state(connection)
    except sqlite3.Error as error:
        raise ValueError(f"the store inside cannot be read: {error}") from error
    if said != {key: contents[key] for key in said}:
        raise ValueError("the store inside is not the one that is listed")


def state(connection: sqlite3.Connection) -> dict[str, Any]:
    """Revision and number of rows of a store, after a check of the whole database.

    Raises:
        ValueError: the database is damaged.
        sqlite3.Error: it cannot be read.
    """
    for check in ("integrity_check", "foreign_key_check"):
        found = connection.execute(f"PRAGMA {check}(1)" if "int" in check else f"PRAGMA {check}")
        row = found.fetchone()
        if row is not None and row[0] != "ok":
            raise ValueError(f"the database is damaged: {row[0]}")
    names = connection.execute(
        "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%'"
        " AND name != 'alembic_version' ORDER BY name"
    ).fetchall()
    revision = connection.execute("SELECT version_num FROM alembic_version").fetchone()
    counts = {
        name: connection.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]  # noqa: S608
        for (name,) in names
    }
    return {"revision": revision[0], "rows": counts}


def is_backup(file: Path) -> bool:
    """Whether a file looks like a backup of ours, whole or not."""
    try:
        with ZipFile(file) as archive:
            return CONTENTS in archive.namelist()
    except (OSError, BadZipFile):
        return False


def _is_zip(file: Path) -> bool:
    with file.open("rb") as source:
        return source.read(4) == b"PK\x03\x04"


def _no_backup(file: Path) -> RefusedError:
    return RefusedError(
        "this is no backup of ours",
        hint="Give a file that `asleft backup` wrote; nothing was changed.",
        where=str(file),
    )


def _damaged(file: Path, why: str) -> StoreError:
    return StoreError(
        f"the backup is damaged: {why}",
        hint="Use another backup; nothing was changed.",
        where=str(file),
    )
