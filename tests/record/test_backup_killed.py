"""Killed at every step of a backup and of a restored store: the old or the new, whole.

The kill falls before each call that Python tells an audit hook of (files opened, named, removed;
databases opened). What SQLite does in between is its own promise.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest

from asleft.errors import RefusedError
from asleft.record import Store
from asleft.record.backup import back_up
from asleft.record.engine import FILE_NAME
from asleft.record.restoring import put_back
from asleft.record.store import wall_clock

pytestmark = pytest.mark.skipif(os.name != "posix", reason="a process is doubled otherwise there")

# Doubles itself before every run; the double kills itself before its n-th call.
DOUBLES = """
import json, os, shutil, signal, sys
from pathlib import Path
from asleft.record.backup import back_up
from asleft.record.restoring import put_back
from asleft.record.store import wall_clock

job, model, work, file = sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3]), Path(sys.argv[4])
run = {"back_up": back_up, "put_back": put_back}[job]

def killed_before(n, home, to):
    count = 0
    def hook(event, _):
        nonlocal count
        if event == "open" or event.startswith(("os.", "sqlite3.connect", "shutil.")):
            count += 1
            if count == n:
                os.kill(os.getpid(), signal.SIGKILL)
    pid = os.fork()
    if pid == 0:
        sys.addaudithook(hook)
        run(home, to, clock=wall_clock)
        os._exit(0)
    return os.waitpid(pid, 0)[1] != 0

for n in range(1, 1000):
    home = work / f"{n}" / "home"
    shutil.copytree(model, home)
    to = file if job == "put_back" else home.parent / "evening.backup"
    if n == 1:
        shutil.copytree(model, work / "warm")
        warm = file if job == "put_back" else work / "warm.backup"
        run(work / "warm", warm, clock=wall_clock)
    if not killed_before(n, home, to):
        break
print(n)
"""


def texts(home: Path) -> list[str]:
    """The events of a store, which also must open and be whole."""
    with Store.open(home) as store:
        store.require_sound()
        return [row.text for row in store.events(1)]


@contextmanager
def with_writes_ahead(home: Path, to: Path) -> Iterator[Path]:
    """A copy of a home as a killed program leaves it: the last rows not yet in the main file."""
    with Store.open(home) as store:
        store.add_event(1, "other", "the last")
        shutil.copytree(home, to)
        assert (to / f"{FILE_NAME}-wal").stat().st_size > 0
        yield to


@pytest.fixture
def homes(calibrated: tuple[Store, int], tmp_path: Path) -> tuple[Path, Path, list[str], list[str]]:
    """A model of the present home, a backup, and the events of either."""
    store, _ = calibrated
    home, file = tmp_path / "home", tmp_path / "evening.backup"
    log = home / "wire" / "bracket-20310302.log"
    log.parent.mkdir(exist_ok=True)
    log.write_text("as backed up\n")
    store.add_wire_log(1, 1, str(log), 1, 1)
    store.close()
    back_up(home, file, clock=wall_clock)
    new = texts(home)
    log.write_text("another since\n")
    with with_writes_ahead(home, tmp_path / "model") as model:
        pass
    return model, file, [*new, "the last"], new


def killed_at_every_step(job: str, model: Path, work: Path, file: Path) -> int:
    done = subprocess.run(
        [sys.executable, "-c", DOUBLES, job, str(model), str(work), str(file)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return int(done.stdout)


def test_a_restored_store_killed_at_every_step(
    homes: tuple[Path, Path, list[str], list[str]], tmp_path: Path
) -> None:
    model, file, old, new = homes
    work = tmp_path / "work"
    work.mkdir()
    steps = killed_at_every_step("put_back", model, work, file)
    seen = []
    for n in range(1, steps + 1):
        home = work / str(n) / "home"
        assert (home / FILE_NAME).is_file(), n
        found = texts(home)
        assert found in (old, new), n
        seen.append(found == new)
        asides = list(home.glob("before-*"))
        if found == new:
            assert [texts(aside) for aside in asides] == [old], n
        logs = [p.read_text() for folder in (home, *asides) for p in folder.glob("wire/*.log")]
        assert "another since\n" in logs, n
        if n % 10 == 0:
            put_back(home, file, clock=wall_clock)
            assert texts(home) == new, n
    assert seen == sorted(seen), "once new, new for good"
    assert seen.count(False) > 20 and seen.count(True) > 2


def test_a_backup_killed_at_every_step(
    homes: tuple[Path, Path, list[str], list[str]], tmp_path: Path
) -> None:
    model, _, old, _ = homes
    work = tmp_path / "work"
    work.mkdir()
    steps = killed_at_every_step("back_up", model, work, tmp_path / "unused")
    written = 0
    for n in range(1, steps + 1):
        made = work / str(n) / "evening.backup"
        if made.exists():
            written += 1
            put_back(work / str(n) / "other", made, clock=wall_clock)
            assert texts(work / str(n) / "other") == old, n
    assert 0 < written < steps
    assert texts(work / "1" / "home") == old


# Opens the store anew for every row, and tells of a row after it was kept.
COMER = """
import sys
from asleft.errors import StoreError
from asleft.record import Store
for n in range(10**6):
    with Store.open(sys.argv[1]) as store:
        store.add_event(1, "other", f"row {n}")
    print(f"row {n}", flush=True)
"""


def test_whoever_comes_while_it_is_replaced_loses_nothing(
    homes: tuple[Path, Path, list[str], list[str]], tmp_path: Path
) -> None:
    """The store is replaced six times under a program that opens and closes it all the while."""
    home, file = tmp_path / "home", homes[1]
    with subprocess.Popen(
        [sys.executable, "-c", COMER, str(home)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as comer:
        assert comer.stdout is not None
        told = [comer.stdout.readline().strip()]
        replaced, deadline = 0, time.monotonic() + 30
        while replaced < 6 and time.monotonic() < deadline:
            with suppress(RefusedError):
                put_back(home, file, clock=wall_clock)
                replaced += 1
            told.append(comer.stdout.readline().strip())
        comer.terminate()
        more, wrong = comer.communicate(timeout=20)
    assert (replaced, wrong) == (6, "")
    told += more.split("\n")[:-1]
    kept = {text for each in (home, *home.glob("before-*")) for text in texts(each)}
    assert set(told) <= kept
