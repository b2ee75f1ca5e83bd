"""A store that cannot take what is coming: said in words, before anything is sent."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest

from asleft.practice.hands import Hands
from asleft.record.engine import FILE_NAME

pytestmark = pytest.mark.skipif(os.name != "posix", reason="disks are filled otherwise there")

JOBS = {
    "found": ("found",),
    "set": ("set", "X=81", "--yes"),
    "trial": ("trial", "feed", "--yes", "--repeats", "1", "--temperature", "205"),
}


@pytest.fixture(scope="module")
def machine() -> Iterator[Hands]:
    with Hands(7, speed=1000) as hands:
        yield hands


@pytest.fixture(scope="module")
def known(machine: Hands, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A home that knows the machine and has kept it as found."""
    home = tmp_path_factory.mktemp("known") / "home"
    for words in (("machine", "describe", "workbench", "--port", machine.address), ("found",)):
        done = asleft(home, *words)
        assert done.returncode == 0, done.stderr
    with closing(sqlite3.connect(home / FILE_NAME)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return home


def asleft(home: Path, *words: str, **more: Any) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "asleft", "--home", str(home), *words, "--json"],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
        timeout=50,
        **more,
    )


def refused(machine: Hands, home: Path, job: str, **more: Any) -> dict[str, Any]:
    """The error of a job that must end before a single line is sent."""
    before = machine.ask("peek_received", last=1)["lines"]
    done = asleft(home, *JOBS[job], **more)
    assert machine.ask("peek_received", last=1)["lines"] == before
    error: dict[str, Any] = json.loads(done.stderr.splitlines()[-1])
    assert (done.returncode, error["kind"]) == (2, "store"), done.stderr
    assert error["hint"]
    return error


def contents(home: Path) -> dict[str, bytes]:
    """Every file of a store; the empty ones of a reader come and go."""
    return {p.name: p.read_bytes() for p in home.glob(f"{FILE_NAME}*") if "-shm" not in p.name}


@contextmanager
def small_disk(folder: Path, size: str) -> Iterator[Path]:
    """A disk of this size, where the tests may mount one."""
    folder.mkdir()
    mount = shutil.which("mount")
    words = [str(mount), "-t", "tmpfs", "-o", f"size={size}", "none", str(folder)]
    if mount is None or subprocess.run(words, capture_output=True, check=False).returncode:
        pytest.skip("no disk can be mounted here; the limit on file sizes is tested instead")
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=True)


def fill(ballast: Path) -> None:
    """Write until nothing more goes onto the disk."""
    with ballast.open("wb", buffering=0) as file, pytest.raises(OSError, match="No space"):
        while True:
            file.write(bytes(512))


@pytest.mark.parametrize("job", list(JOBS))
def test_a_full_disk(machine: Hands, known: Path, tmp_path: Path, job: str) -> None:
    with small_disk(tmp_path / "disk", "6m") as disk:
        shutil.copytree(known, disk / "home")
        fill(disk / "ballast")
        assert refused(machine, disk / "home", job)["message"] == "the disk is full"
        (disk / "ballast").unlink()
        assert asleft(disk / "home", "found").returncode == 0


def test_no_room_to_back_up_or_to_put_back(known: Path, tmp_path: Path) -> None:
    whole = tmp_path / "whole.backup"
    assert asleft(known, "backup", str(whole)).returncode == 0
    with small_disk(tmp_path / "disk", "6m") as disk:
        home = shutil.copytree(known, disk / "home")
        fill(disk / "ballast")
        before = contents(home)
        for words in (("restore-store", str(whole)), ("backup", str(disk / "another.backup"))):
            done = asleft(home, *words)
            error = json.loads(done.stderr.splitlines()[-1])
            assert (done.returncode, error["message"]) == (2, "the disk is full")
        assert contents(home)[FILE_NAME] == before[FILE_NAME]
        assert not list(home.glob("before-*"))
        assert not list(disk.glob("*.backup"))


def limit_files() -> None:
    import resource
    import signal

    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (600_000, 600_000))


@pytest.mark.parametrize("job", ["found"])
def test_files_that_may_not_grow(machine: Hands, known: Path, tmp_path: Path, job: str) -> None:
    home = shutil.copytree(known, tmp_path / "home")
    message = refused(machine, home, job, preexec_fn=limit_files)["message"]
    assert message in ("the store may not grow any further", "the disk is full")


@pytest.mark.parametrize("job", ["set"])
def test_read_only(machine: Hands, known: Path, tmp_path: Path, job: str) -> None:
    """A disk mounted read-only, or for whoever may not mount, a folder without the right."""
    if os.geteuid() != 0:
        home = shutil.copytree(known, tmp_path / "home")
        for path in (*home.rglob("*"), home):
            path.chmod(0o555 if path.is_dir() else 0o444)
        assert "cannot be" in refused(machine, home, job)["message"]
        return
    with small_disk(tmp_path / "disk", "6m") as disk:
        shutil.copytree(known, disk / "home")
        subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
        assert "cannot be" in refused(machine, disk / "home", job)["message"]


@pytest.mark.parametrize("job", ["set"])
def test_a_store_of_a_newer_program(machine: Hands, known: Path, tmp_path: Path, job: str) -> None:
    home = shutil.copytree(known, tmp_path / "home")
    with closing(sqlite3.connect(home / FILE_NAME)) as connection, connection:
        connection.execute("UPDATE alembic_version SET version_num = '9001'")
    before = contents(home)
    assert "newer than" in refused(machine, home, job)["message"]
    assert contents(home)[FILE_NAME] == before[FILE_NAME]


@pytest.mark.parametrize("job", ["trial"])
def test_a_store_damaged_in_the_middle(
    machine: Hands, known: Path, tmp_path: Path, job: str
) -> None:
    home = shutil.copytree(known, tmp_path / "home")
    damage(home / FILE_NAME)
    before = contents(home)
    error = refused(machine, home, job)
    assert "damaged" in error["message"]
    assert contents(home)[FILE_NAME] == before[FILE_NAME]
    looked = asleft(home, "due")
    assert contents(home)[FILE_NAME] == before[FILE_NAME]
    assert looked.returncode in (0, 2), looked.stderr


def damage(file: Path) -> None:
    """Garble the pages behind those that opening a store looks at."""
    content = bytearray(file.read_bytes())
    for at in range(4096 * 12, len(content), 4096):
        content[at : at + 16] = b"\xa5" * 16
    file.write_bytes(content)


def test_the_disk_fills_in_mid_trial(machine: Hands, known: Path, tmp_path: Path) -> None:
    """Heaters off, the readings that were told of are kept, and it goes on when there is room."""
    with small_disk(tmp_path / "disk", "12m") as disk:
        home = shutil.copytree(known, disk / "home")
        words = ["trial", "feed", "--yes", "--repeats", "2", "--temperature", "205", "--json"]
        child = subprocess.Popen(
            [sys.executable, "-m", "asleft", "--home", str(home), *words],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        until(lambda: machine.ask("peek_heaters")["moving"])
        fill(disk / "ballast")
        _, said = child.communicate("20.0\n20.1\n", timeout=40)
        assert child.returncode == 2, said
        assert json.loads(said.splitlines()[-1])["message"] == "the disk is full"
        assert not machine.ask("peek_heaters")["on"]
        (disk / "ballast").unlink()
        again = subprocess.run(
            child.args, input="20.0\n20.1\n", capture_output=True, text=True, check=False
        )
        assert again.returncode == 0, again.stderr
        told = json.loads(again.stdout)
        assert [r["raw"] for r in told["readings"]] == ["20.0", "20.1"]


def until(true: Callable[[], bool]) -> None:
    import time

    deadline = time.monotonic() + 30.0
    while not true():
        assert time.monotonic() < deadline, "waited too long"
        time.sleep(0.02)
