"""Backup and restoring the store: nothing lost on the way, nothing believed unchecked."""

from __future__ import annotations

import json
import random
import shutil
import sqlite3
import subprocess
import sys
import zipfile
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from asleft.errors import AsleftError, InputError, RefusedError, StoreError
from asleft.record import Store, assemble, backup_file
from asleft.record.backup import back_up
from asleft.record.engine import FILE_NAME
from asleft.record.restoring import put_back


def now() -> datetime:
    return datetime(2031, 3, 2, 19, 30, tzinfo=UTC)


def rows(home: Path) -> dict[str, list[tuple[Any, ...]]]:
    """Everything that a store holds, table by table."""
    with closing(sqlite3.connect(home / FILE_NAME)) as connection:
        names = connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")
        return {
            name: connection.execute(f'SELECT * FROM "{name}"').fetchall()  # noqa: S608
            for (name,) in names.fetchall()
        }


@pytest.fixture
def home(calibrated: tuple[Store, int], tmp_path: Path) -> Path:
    """A home with an evening in it, and the wire log that its store speaks of."""
    store, _ = calibrated
    log = tmp_path / "home" / "wire" / "bracket-20310302.log"
    log.parent.mkdir(exist_ok=True)
    log.write_text("2031-03-02T19:00:00.000000+00:00 > M503\\n\n")
    store.add_wire_log(1, 1, str(log), 1, 1)
    return tmp_path / "home"


@pytest.fixture
def backup(home: Path, tmp_path: Path) -> Path:
    back_up(home, tmp_path / "evening.backup", clock=now)
    return tmp_path / "evening.backup"


def test_there_and_back_in_another_home(home: Path, backup: Path, tmp_path: Path) -> None:
    told = put_back(tmp_path / "other", backup, clock=now)
    assert rows(tmp_path / "other") == rows(home)
    assert told["rows"]["reading"] == len(rows(home)["reading"]) > 0
    assert (told["wire_logs"], told["kept_aside"]) == (1, None)
    name = "wire/bracket-20310302.log"
    assert (tmp_path / "other" / name).read_bytes() == (home / name).read_bytes()
    with Store.open(home) as here, Store.open(tmp_path / "other") as there:
        assert assemble(there, 1, versions={}) == assemble(here, 1, versions={})
        there.add_event(1, "other", "and it goes on")
    with closing(sqlite3.connect(tmp_path / "other" / FILE_NAME)) as connection:
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_the_present_store_is_kept_aside(
    calibrated: tuple[Store, int], home: Path, backup: Path
) -> None:
    store, _ = calibrated
    log = home / "wire" / "bracket-20310302.log"
    log.write_text(log.read_text() + "2031-03-02T19:00:01.000000+00:00 < ok\\n\n")
    longer = log.read_text()
    store.add_event(1, "belt", "after the backup")
    before = rows(home)
    store.close()
    told = put_back(home, backup, clock=now)
    assert rows(home) != before
    assert rows(Path(told["kept_aside"])) == before
    assert log.read_text() == longer, "a log that went on since holds the whole of it"


def test_another_log_of_the_same_name_is_kept_aside(
    calibrated: tuple[Store, int], home: Path, backup: Path
) -> None:
    calibrated[0].close()
    log = home / "wire" / "bracket-20310302.log"
    was = log.read_text()
    log.write_text("another\n")
    told = put_back(home, backup, clock=now)
    assert (Path(told["kept_aside"]) / "wire" / log.name).read_text() == "another\n"
    assert log.read_text() == was


def test_a_store_in_use_is_not_replaced(
    calibrated: tuple[Store, int], home: Path, backup: Path
) -> None:
    holder = "import sys, asleft.record as r; s = r.Store.open(sys.argv[1]); s.machines();"
    holder += "print('open', flush=True); sys.stdin.read()"
    calibrated[0].close()
    with subprocess.Popen(
        [sys.executable, "-c", holder, str(home)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "open\n"
        before = rows(home)
        with pytest.raises(RefusedError, match="another program has the store open"):
            put_back(home, backup, clock=now)
        assert rows(home) == before
        assert not list(home.glob("before-*"))
        other.communicate(timeout=20)
    put_back(home, backup, clock=now)


def test_backed_up_while_another_program_writes(home: Path, tmp_path: Path) -> None:
    writer = "import sys, asleft.record as r\nwith r.Store.open(sys.argv[1]) as s:\n"
    writer += " for n in range(10**6):\n  s.add_event(1, 'other', str(n)); print(n, flush=True)"
    with subprocess.Popen(
        [sys.executable, "-c", writer, str(home)], stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None
        for _ in range(5):
            other.stdout.readline()
        for turn in range(3):
            told = back_up(home, tmp_path / f"{turn}.backup", clock=now)
            assert told["rows"]["event"] >= 5
        other.kill()


def test_any_damage_is_seen_and_nothing_touched(home: Path, backup: Path, tmp_path: Path) -> None:
    """200 single damaged bytes, and 20 cut ends: refused, or (in a date, say) without effect."""
    chance, whole, good = random.Random(5), backup.read_bytes(), rows(home)
    target, damaged = tmp_path / "target", tmp_path / "damaged"
    shutil.copytree(home, target)
    before = {path: path.read_bytes() for path in target.rglob("*") if path.is_file()}
    harmless = 0
    for turn in range(220):
        content = bytearray(whole)
        if turn < 200:
            content[chance.randrange(len(content))] ^= 1 << chance.randrange(8)
        else:
            del content[chance.randrange(len(content)) :]
        damaged.write_bytes(content)
        try:
            with backup_file.opened(damaged, tmp_path) as opened:
                assert rows(opened.folder) == good, turn
                harmless += 1
        except AsleftError as error:
            assert isinstance(error, RefusedError | StoreError), turn
            assert "nothing was changed" in str(error.hint), turn
    assert harmless < 40
    damaged.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(StoreError, match="damaged"):
        put_back(target, damaged, clock=now)
    assert {p: p.read_bytes() for p in target.rglob("*") if p.is_file()} == before


def remade(backup: Path, to: Path, **changed: Any) -> Path:
    """The same backup with another list of contents, its digest in order."""
    with zipfile.ZipFile(backup) as old, zipfile.ZipFile(to, "w") as new:
        for name in old.namelist():
            if name != backup_file.CONTENTS:
                new.writestr(name, old.read(name))
        contents = json.loads(old.read(backup_file.CONTENTS)) | changed
        contents["sha256"] = backup_file.digest(contents)
        new.writestr(backup_file.CONTENTS, json.dumps(contents))
    return to


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"revision": "9001"}, "revision 9001, newer than"),
        ({"schema": "asleft.backup_file/2"}, "newer program"),
        ({"schema": "a baker's list"}, "no backup of ours"),
        ({"rows": {}}, "not the one that is listed"),
        ({"parts": {"../asleft.sqlite": {"bytes": 1, "sha256": ""}}}, "a part called"),
    ],
)
def test_newer_foreign_or_made_up(
    backup: Path, tmp_path: Path, changed: dict[str, Any], words: str
) -> None:
    other = remade(backup, tmp_path / "other.backup", **changed)
    with pytest.raises(AsleftError, match=words):
        put_back(tmp_path / "target", other, clock=now)
    assert not (tmp_path / "target" / FILE_NAME).exists()


@pytest.mark.parametrize("content", [b"", b"a bill of wheels" * 50, b"PK\x03\x04 no more"])
def test_a_file_that_is_no_backup(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "bill").write_bytes(content)
    with pytest.raises(AsleftError, match=r"no backup of ours|damaged"):
        put_back(tmp_path / "target", tmp_path / "bill", clock=now)


def test_a_damaged_store_is_said_and_can_be_replaced(
    calibrated: tuple[Store, int], home: Path, backup: Path, tmp_path: Path
) -> None:
    calibrated[0].close()
    good = rows(home)
    file = home / FILE_NAME
    damaged = damage(file)
    with pytest.raises(StoreError, match=r"damaged|malformed"):
        back_up(home, tmp_path / "second.backup", clock=now)
    assert not (tmp_path / "second.backup").exists()
    assert file.read_bytes() == damaged, "untouched"
    told = put_back(home, backup, clock=now)
    assert (Path(told["kept_aside"]) / FILE_NAME).read_bytes() == damaged
    assert rows(home) == good


def damage(file: Path) -> bytes:
    """Garble the middle of a database, behind its first pages."""
    content = bytearray(file.read_bytes())
    for at in range(4096 * 8, len(content), 4096):
        content[at : at + 16] = b"\xa5" * 16
    file.write_bytes(content)
    return bytes(content)


def test_no_store_no_place_no_server(home: Path, backup: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="already"):
        back_up(home, backup, clock=now)
    with pytest.raises(InputError, match="no such folder"):
        back_up(home, tmp_path / "none" / "x", clock=now)
    with pytest.raises(InputError, match="no store here"):
        back_up(tmp_path / "empty", tmp_path / "x", clock=now)
    with pytest.raises(RefusedError, match="database server"):
        back_up("postgresql+psycopg://clockmaker@/evenings", tmp_path / "x", clock=now)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["evening.backup", "home"]
