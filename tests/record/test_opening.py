"""Opening the store: every way in which it can go wrong, and what is left after a crash."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from asleft.errors import StoreError
from asleft.record import Store, schema
from asleft.record.engine import FILE_NAME

WRITER = """
import sys
from asleft.record import Store
with Store.open(sys.argv[1]) as store:
    for n in range(int(sys.argv[3])):
        store.add_event(int(sys.argv[2]), "other", f"{sys.argv[4]} {n}")
        print(n, flush=True)
"""
# Leaves a row in an open transaction, says so, and waits to be killed.
HALF = """
import sys, time
from asleft.record import Store, schema
store = Store.open(sys.argv[1])
store.add_event(1, "other", "whole")
with store._writing() as connection:
    store._insert(connection, schema.event, machine_id=1, kind="other", text="half")
    print("inside", flush=True)
    time.sleep(60)
"""


def python(script: str, *arguments: object) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-c", script, *map(str, arguments)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def events(home: Path) -> list[str]:
    with Store.open(home) as store:
        return [row.text for row in store.events(1)]


def test_the_head_is_that_of_the_migrations() -> None:
    from alembic.config import Config
    from alembic.script import ScriptDirectory

    config = Config()
    config.set_main_option("script_location", "asleft.record:migrations")
    config.set_main_option("path_separator", "os")
    script = ScriptDirectory.from_config(config)
    steps = [step.revision for step in script.walk_revisions()]
    assert tuple(reversed(steps)) == schema.REVISIONS
    assert script.get_current_head() == schema.HEAD


def test_opening_again_imports_no_alembic(store: Store, tmp_path: Path) -> None:
    store.add_machine({"name": "carriage-clock printer"})
    asks = (
        "import sys; from asleft.record import Store; s = Store.open(sys.argv[1]);"
        "print(s.machines()[0].name, 'alembic' in sys.modules, 'typst' in sys.modules)"
    )
    told, wrong = python(asks, tmp_path / "home").communicate(timeout=30)
    assert (told.strip(), wrong) == ("carriage-clock printer False False", "")


def test_it_is_durable(store: Store) -> None:
    with store._engine.connect() as connection:
        found = [
            connection.exec_driver_sql(f"PRAGMA {name}").scalar()
            for name in ("journal_mode", "synchronous", "foreign_keys")
        ]
    assert found == ["wal", 2, 1]  # 2 is FULL (SQLite documentation, "PRAGMA synchronous")


def test_a_killed_writer_loses_nothing_committed(store: Store, tmp_path: Path) -> None:
    home = tmp_path / "home"
    machine = store.add_machine({"name": "bracket-clock printer"})
    writer = python(WRITER, home, machine, 100_000, "killed")
    assert writer.stdout is not None
    said = [int(writer.stdout.readline()) for _ in range(20)]
    writer.kill()
    said += [int(line) for line in writer.communicate(timeout=30)[0].split()]
    kept = events(home)
    # A row is told of after it was kept: the last may be kept and untold, never the reverse.
    assert kept[: len(said)] == [f"killed {n}" for n in said]
    assert len(kept) - len(said) in (0, 1)


def test_a_writer_killed_inside_a_transaction_leaves_nothing_half(
    store: Store, tmp_path: Path
) -> None:
    store.add_machine({"name": "mantel-clock printer"})
    writer = python(HALF, tmp_path / "home")
    assert writer.stdout is not None
    assert writer.stdout.readline() == "inside\n"
    writer.kill()
    writer.communicate(timeout=30)
    assert events(tmp_path / "home") == ["whole"]
    store.add_event(1, "other", "after")
    assert events(tmp_path / "home") == ["whole", "after"]


def test_two_processes_write_at_once(store: Store, tmp_path: Path) -> None:
    machine = store.add_machine({"name": "turret-clock printer"})
    writers = [python(WRITER, tmp_path / "home", machine, 25, who) for who in ("left", "right")]
    for writer in writers:
        wrong = writer.communicate(timeout=50)[1]
        assert (writer.returncode, wrong) == (0, "")
    kept = events(tmp_path / "home")
    for who in ("left", "right"):
        assert [text for text in kept if text.startswith(who)] == [f"{who} {n}" for n in range(25)]


def test_two_processes_make_the_same_store(tmp_path: Path) -> None:
    make = "import sys; from asleft.record import Store; Store.open(sys.argv[1])"
    makers = [python(make, tmp_path / "new") for _ in range(2)]
    for maker in makers:
        wrong = maker.communicate(timeout=50)[1]
        assert (maker.returncode, wrong) == (0, "")
    with Store.open(tmp_path / "new") as store:
        assert store.machines() == []


def test_a_newer_store_is_refused_and_left_as_it_is(empty_home: Path, tmp_path: Path) -> None:
    file = shutil.copytree(empty_home, tmp_path / "home") / FILE_NAME
    with sqlite3.connect(file) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9001'")
    connection.close()
    before = file.read_bytes()
    with pytest.raises(StoreError, match="revision 9001, newer than") as caught:
        Store.open(tmp_path / "home")
    assert caught.value.hint == "Use the newer program; nothing was changed."
    assert file.read_bytes() == before


def test_a_file_that_is_no_store(tmp_path: Path) -> None:
    (tmp_path / FILE_NAME).write_text("a bill of the clock's wheels\n" * 40)
    with pytest.raises(StoreError, match="no database of ours"):
        Store.open(tmp_path)
    assert (tmp_path / FILE_NAME).read_text().startswith("a bill")


def test_a_home_that_is_a_file(tmp_path: Path) -> None:
    (tmp_path / "home").write_text("")
    with pytest.raises(StoreError, match="home") as caught:
        Store.open(tmp_path / "home")
    assert caught.value.where == str(tmp_path / "home")


def test_a_full_disk(store: Store, tmp_path: Path) -> None:
    machine = store.add_machine({"name": "wall-clock printer"})
    with store._engine.connect() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
        connection.exec_driver_sql(f"PRAGMA max_page_count = {pages}")
    with pytest.raises(StoreError, match="the disk is full"):
        store.add_event(machine, "other", "x" * 1_000_000)
    assert events(tmp_path / "home") == []


@pytest.fixture
def public_folder() -> Iterator[Path]:
    """A folder whose parents everybody may enter, unlike the tests' own."""
    with tempfile.TemporaryDirectory(prefix="asleft-rights-") as name:
        folder = Path(name)
        folder.chmod(0o755)
        yield folder
        for each in folder.iterdir():
            each.chmod(0o755)


# Root may write everywhere, so the rights are given up where the tests run as root.
WITHOUT_RIGHTS = """
import os, sys
from asleft.errors import StoreError
from asleft.record import Store
Store.open(sys.argv[2]).close()  # whatever it imports, it imports while it may
os.chdir("/")
if os.geteuid() == 0:
    os.setuid(65534)
try:
    Store.open(sys.argv[1]).add_machine({"name": "a"})
except StoreError as error:
    print(error)
"""


@pytest.mark.skipif(os.name != "posix", reason="rights are set otherwise there")
@pytest.mark.parametrize("made", [True, False])
def test_a_folder_that_may_not_be_written(
    made: bool, empty_home: Path, public_folder: Path, tmp_path: Path
) -> None:
    home = public_folder / "home"
    if made:
        shutil.copytree(empty_home, home)
        (home / FILE_NAME).chmod(0o444)
    else:
        home.mkdir()
    home.chmod(0o555)
    told, wrong = python(WITHOUT_RIGHTS, home, tmp_path / "warm").communicate(timeout=30)
    assert wrong == ""
    assert told.startswith("the store cannot be ")
