"""The same store on a real PostgreSQL, which the test starts for itself and stops again."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from asleft.errors import RefusedError
from asleft.record import Store, assemble, history

pytestmark = pytest.mark.system("initdb", "postgres")


@pytest.fixture(scope="module")
def url() -> Iterator[str]:
    """A server without network, in a folder of its own; root may not run it."""
    user = "postgres" if os.geteuid() == 0 else None
    with tempfile.TemporaryDirectory(prefix="asleft-pg-") as name:
        folder = Path(name)
        if user:
            shutil.chown(folder, user)
        data = folder / "data"
        done = subprocess.run(
            ["initdb", "-D", data, "-A", "trust", "-U", "postgres", "--no-sync"],
            user=user,
            cwd=folder,
            capture_output=True,
            text=True,
            check=False,
        )
        if done.returncode != 0:
            pytest.fail(f"no server can be made here: {done.stderr[-200:]}")
        options = ["-k", str(folder), "-c", "listen_addresses=", "-c", "fsync=off"]
        server = subprocess.Popen(
            ["postgres", "-D", data, *options], user=user, cwd=folder, stderr=subprocess.DEVNULL
        )
        try:
            for _ in range(100):
                if (folder / ".s.PGSQL.5432").exists():
                    break
                time.sleep(0.1)
            yield f"postgresql+psycopg://postgres@/postgres?host={folder}"
        finally:
            server.terminate()
            server.wait(20)


@pytest.fixture
def store(url: str, clock: Callable[[], object]) -> Iterator[Store]:
    with Store.open(url, clock=clock) as opened:  # type: ignore[arg-type]
        yield opened


def test_an_evening_is_kept_there_as_here(
    store: Store, fill: Callable[[Store], int], calibrated: tuple[Store, int], url: str
) -> None:
    here = assemble(*calibrated, versions={})
    there = assemble(store, fill(store), versions={})
    assert there == here
    with Store.open(url) as again:
        assert assemble(again, 1, versions={}) == here


def test_rows_are_never_altered_there_either(store: Store) -> None:
    machine = store.add_machine({"name": "orrery printer"})
    store.open_calibration(machine, versions={}, person=None, conditions={})
    with pytest.raises(RefusedError, match="still open"):
        store.open_calibration(machine, versions={}, person=None, conditions={})
    statements = ("UPDATE machine SET name = 'x'", "DELETE FROM event", "TRUNCATE event CASCADE")
    for statement in statements:
        with store._engine.connect() as connection:
            with pytest.raises(DBAPIError, match="never altered"):
                connection.execute(text(statement))
            connection.rollback()


def test_the_past_is_read_there_as_here(
    store: Store, fill: Callable[[Store], int], calibrated: tuple[Store, int]
) -> None:
    if not history.pasts(store):
        fill(store)
    here, _ = calibrated
    assert history.measured_on(here, 1)
    for each in (history.measured_on, history.states_as_left, history.last_done):
        assert each(store, 1) == each(here, 1)
    assert history.measured_with(store, "bench caliper") == history.measured_on(here, 1)
    numbers = history.states_as_left(here, 1).values()
    assert history.settings_of(store, numbers) == history.settings_of(here, numbers)
    assert history.drives(store)[1] == history.drives(here)[1] == "cartesian"
    assert history.pasts(store)[0].name == history.pasts(here)[0].name
