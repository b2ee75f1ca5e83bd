"""Stores of every released form, as SQL text in `stores/`, brought to today's form.

A new revision needs a dump of its own there: `sqlite3 HOME/asleft.sqlite .dump` of a store that the
program of that revision wrote. A made-up next revision shows that a step which fails, or whose
process is killed, at any statement leaves the old store as it was.
"""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine, create_engine, event

import asleft.record.migrations
from asleft.errors import StoreError
from asleft.record import Store, assemble, engine, schema
from asleft.record.engine import FILE_NAME

STORES = Path(__file__).parent / "stores"
NEXT = "9000"
# A column more, a table more that takes rows along, and a table built anew with another CHECK.
MADE_UP = f'''
from alembic import op
revision, down_revision = "{NEXT}", "{schema.HEAD}"

def upgrade() -> None:
    op.execute("ALTER TABLE instrument ADD COLUMN owner TEXT")
    op.execute("CREATE TABLE place (id INTEGER NOT NULL PRIMARY KEY, words TEXT NOT NULL)")
    op.execute("INSERT INTO place SELECT id, unit FROM reading")
    op.execute("""CREATE TABLE event_anew (
        id INTEGER NOT NULL PRIMARY KEY, at TEXT NOT NULL,
        machine_id INTEGER NOT NULL REFERENCES machine (id),
        kind TEXT NOT NULL CHECK (length(kind) > 1), text TEXT NOT NULL, person TEXT)""")
    op.execute("INSERT INTO event_anew SELECT id, at, machine_id, kind, text, person FROM event")
    op.execute("DROP TABLE event")
    op.execute("ALTER TABLE event_anew RENAME TO event")
    op.execute("CREATE INDEX ix_event_anew ON event (machine_id)")
'''  # noqa: S608
# Opens the store; a child process for each statement is killed right before, or after, it.
KILLED = """
import os, signal, sys
from sqlalchemy import Engine, event
from asleft.record import Store, engine, schema
home, folder, revision, moment = sys.argv[1:]
engine.MIGRATIONS, schema.REVISIONS = folder, (*schema.REVISIONS, revision)
schema.HEAD = revision
import alembic.command, alembic.config
for n in range(1000):
    child = os.fork()
    if child == 0:
        seen = 0
        @event.listens_for(Engine, moment)
        def _halt(*_):
            global seen
            if seen == n:
                os.kill(os.getpid(), signal.SIGKILL)
            seen += 1
        Store.open(home).close()
        os._exit(0)
    if os.waitpid(child, 0)[1] == 0:
        break
    print(n, flush=True)
    assert sys.stdin.readline() == "on\\n"
"""


def laid_out(revision: str, home: Path) -> Path:
    """A home with the store of a revision."""
    home.mkdir()
    with closing(sqlite3.connect(home / FILE_NAME)) as connection:
        connection.executescript((STORES / f"{revision}.sql").read_text(encoding="utf-8"))
        connection.execute("PRAGMA journal_mode = WAL")
    return home


def rows(home: Path) -> dict[str, list[dict[str, Any]]]:
    """Every row of every table, whatever the form."""
    with closing(sqlite3.connect(home / FILE_NAME)) as connection:
        connection.row_factory = sqlite3.Row
        names = connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'").fetchall()
        return {
            name: [dict(row) for row in connection.execute(f"SELECT * FROM {name} ORDER BY 1")]  # noqa: S608
            for (name,) in names
            if name != "alembic_version" and not name.startswith("sqlite_")
        }


def form(home: Path) -> str:
    """The whole store as SQL text, after a check of the database."""
    with closing(sqlite3.connect(home / FILE_NAME)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
        return "\n".join(connection.iterdump())


def without_loss(before: dict[str, list[dict[str, Any]]], home: Path) -> None:
    """Every row there was is there, with every value that its table still has a column for."""
    after = rows(home)
    for name, old in before.items():
        assert len(after[name]) == len(old)
        for one, other in zip(old, after[name], strict=True):
            assert {**other, **one} == other


@pytest.fixture
def next_revision(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """The migrations with a made-up step more, in force for the test."""
    folder = tmp_path / "migrations"
    shutil.copytree(Path(asleft.record.migrations.__file__).parent, folder)
    (folder / "versions" / f"r{NEXT}_made_up.py").write_text(MADE_UP, encoding="utf-8")
    monkeypatch.setattr(engine, "MIGRATIONS", str(folder))
    monkeypatch.setattr(schema, "REVISIONS", (*schema.REVISIONS, NEXT))
    monkeypatch.setattr(schema, "HEAD", NEXT)
    yield folder


@contextmanager
def failing(number: int, moment: str = "before_cursor_execute") -> Iterator[list[str]]:
    """Statements, written down; the one of this number fails as on a full disk."""
    seen: list[str] = []

    def halt(_c: Any, _k: Any, statement: str, *_: Any) -> None:
        seen.append(statement)
        if len(seen) == number + 1:
            raise OSError(28, "No space left on device")

    event.listen(Engine, moment, halt)
    try:
        yield seen
    finally:
        event.remove(Engine, moment, halt)


def test_there_is_a_store_of_every_revision() -> None:
    assert {path.stem for path in STORES.glob("*.sql")} == set(schema.REVISIONS)


@pytest.mark.parametrize("revision", schema.REVISIONS)
def test_a_store_of_each_revision_opens_without_loss(revision: str, tmp_path: Path) -> None:
    home = laid_out(revision, tmp_path / "home")
    before = rows(home)
    assert sum(map(len, before.values())) > 50
    with Store.open(home) as store:
        record = assemble(store, 1, versions={})
        assert len(record["trials"]) == 3 and record["proof"]["holds"] is True
        assert json.dumps(record, allow_nan=False)
        store.add_event(1, "belt", "it goes on")
    after = rows(home)
    assert after["event"].pop()["text"] == "it goes on"
    assert {name: after[name] for name in before} == before or revision != schema.HEAD
    with closing(sqlite3.connect(home / FILE_NAME)) as connection:
        assert connection.execute("SELECT version_num FROM alembic_version").fetchall() == [
            (schema.HEAD,)
        ]


@pytest.mark.usefixtures("next_revision")
@pytest.mark.parametrize("revision", schema.REVISIONS)
def test_a_step_that_fails_at_any_statement_leaves_the_old_store(
    revision: str, tmp_path: Path
) -> None:
    home = laid_out(revision, tmp_path / "home")
    before, whole = rows(home), form(home)
    stopped: list[str] = []
    for moment in ("before_cursor_execute", "after_cursor_execute"):
        for number in range(1000):
            with failing(number, moment) as seen:
                try:
                    Store.open(home).close()
                except StoreError as error:
                    assert "full" in error.message
                    stopped.append(seen[-1])
                else:
                    break
            assert form(home) == whole
        without_loss(before, home)
        if moment.startswith("before"):
            assert form(home) != whole
            shutil.rmtree(home)
            laid_out(revision, home)
    made = [line for line in MADE_UP.splitlines() if "op.execute" in line]
    assert sum("event_anew" in each for each in stopped) >= 6
    assert len(stopped) > 2 * len(made)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="kills child processes")
@pytest.mark.parametrize("moment", ["before_cursor_execute", "after_cursor_execute", "commit"])
def test_a_step_killed_at_any_statement_leaves_the_old_store(
    next_revision: Path, tmp_path: Path, moment: str
) -> None:
    home = laid_out(schema.REVISIONS[-2], tmp_path / "home")
    before, whole = rows(home), form(home)
    kills = 0
    with subprocess.Popen(
        [sys.executable, "-c", KILLED, home, next_revision, NEXT, moment],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as killer:
        assert killer.stdin is not None and killer.stdout is not None
        for _ in killer.stdout:
            kills += 1
            assert form(home) == whole
            killer.stdin.write("on\n")
            killer.stdin.flush()
    assert killer.returncode == 0
    assert kills > (0 if moment == "commit" else 10)
    assert form(home) != whole
    without_loss(before, home)


def test_a_new_store_that_could_not_be_made_is_made_the_next_time(tmp_path: Path) -> None:
    home, number = tmp_path / "home", 0
    while True:
        with failing(number) as seen:
            try:
                Store.open(home).close()
            except StoreError:
                number += 1 if number < 12 else 17  # all of the beginning, a share of the tables
                continue
        break
    assert number > len(schema.metadata.tables) * 3
    assert len(seen) <= number
    with Store.open(home) as store:
        store.add_machine({"name": "skeleton-clock printer"})


@pytest.mark.system("initdb", "postgres")
def test_a_server_too_keeps_the_old_store_when_a_step_fails(
    server: str, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    with Store.open(server) as store:
        store.add_machine({"name": "water-clock printer"})
        store.add_event(1, "belt", "tightened")
    request.getfixturevalue("next_revision")
    plain = create_engine(server)

    def told() -> tuple[Any, ...]:
        with plain.connect() as connection:
            columns = connection.exec_driver_sql(
                "SELECT table_name, column_name FROM information_schema.columns"
                " WHERE table_schema = 'public' ORDER BY 1, 2"
            ).fetchall()
            version = connection.exec_driver_sql("SELECT version_num FROM alembic_version").scalar()
            events = connection.exec_driver_sql("SELECT * FROM event").fetchall()
            return columns, version, events

    before, failures = told(), 0
    for number in range(1000):
        with failing(number):
            try:
                Store.open(server).close()
            except StoreError:
                failures += 1
            else:
                break
        assert told() == before
    columns, version, events = told()
    plain.dispose()
    assert failures > 10 and version == NEXT and ("instrument", "owner") in columns
    assert events == before[2]
