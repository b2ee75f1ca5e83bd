"""Backing up and putting back as a person does it: words, JSON, and a machine being held."""

from __future__ import annotations

import os
import subprocess
import sys
import time
import zipfile
from pathlib import Path

import pytest

from asleft.practice.hands import Hands


@pytest.fixture
def kept(cli, tmp_path: Path) -> Path:
    """A home with one machine that was described, and one kept state of it from a pasted report."""
    (tmp_path / "found.txt").write_text("M92 X80.00 Y80.00 Z400.00 E93.00\nok\n")
    assert cli("machine", "describe", "regulator").status == 0
    assert cli("found", "--report", "found.txt").status == 0
    return tmp_path / "home"


def machines(cli, *more: str) -> list[str]:
    return [row["name"] for row in cli("machine", "list", *more, "--json").json["machines"]]


def test_there_and_back(cli, kept: Path) -> None:
    made = cli("backup", "evening.backup", "--json").json
    assert made["schema"] == "asleft.backup/1"
    assert (made["rows"]["machine"], made["rows"]["calibration"], made["wire_logs"]) == (1, 1, 0)
    cli("machine", "describe", "carriage clock")
    back = cli("restore-store", "evening.backup", "--json").json
    assert back["schema"] == "asleft.restore_store/1"
    same = ("sha256", "rows", "revision", "made_at", "wire_logs", "missing_wire_logs", "bytes")
    assert {key: back[key] for key in same} == {key: made[key] for key in same}
    assert machines(cli) == ["regulator"]
    assert machines(cli, "--home", back["kept_aside"]) == ["regulator", "carriage clock"]


def test_in_words(cli, kept: Path) -> None:
    made = cli("backup", "evening.backup")
    said = " ".join(made.out.split())
    assert "1 machine, 1 calibration, 0 readings, 0 wire logs. It was read again." in said
    back = " ".join(cli("restore-store", "evening.backup").out.split())
    assert back.startswith("The store is as it was ")
    assert "What was here before is kept in" in back and f"{kept}/before-" in back.replace(" ", "")


def test_only_an_earlier_backup_may_be_replaced(cli, kept: Path, tmp_path: Path) -> None:
    assert cli("backup", "evening.backup").status == 0
    cli("machine", "describe", "carriage clock")
    refused = cli("backup", "evening.backup", "--json")
    assert refused.status == 2 and "--force" in refused.error["hint"]
    assert cli("backup", "evening.backup", "--force", "--json").json["rows"]["machine"] == 2
    (tmp_path / "wheels.zip").touch()
    with zipfile.ZipFile(tmp_path / "bill.zip", "w") as other:
        other.writestr("wheels.txt", "96, 84, 75")
    store = kept / "asleft.sqlite"
    for name in ("wheels.zip", "bill.zip", str(store)):
        before = (tmp_path / name).read_bytes()
        refused = cli("backup", name, "--force", "--json")
        assert refused.status == 2 and "no backup" in refused.error["message"]
        assert (tmp_path / name).read_bytes() == before
    assert not [path for path in tmp_path.iterdir() if path.name.startswith(".")]


def test_a_server_is_told_of_its_own_tools(cli) -> None:
    for command in ("backup", "restore-store"):
        ran = cli(command, "x", "--home", "postgresql+psycopg://clockmaker@/evenings", "--json")
        assert (ran.status, ran.error["kind"]) == (2, "refused")
        assert "pg_dump" in ran.error["hint"]


@pytest.mark.skipif(os.name == "nt", reason="the program that holds is ended by a signal")
def test_refused_while_a_machine_is_held(cli, tmp_path: Path) -> None:
    """A trial that heats for its first reading holds the machine; after its end, it is done."""
    home = tmp_path / "home"
    with Hands(7, speed=300) as hands:
        assert cli("found", "--port", hands.address).status == 0
        assert cli("backup", "evening.backup", "--json").json["wire_logs"] == 1
        words = ["trial", "feed", "--yes", "--port", hands.address, "--temperature", "205"]
        with subprocess.Popen(
            [sys.executable, "-m", "asleft", "--home", str(home), *words],
            stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
        ) as holder:
            deadline = time.monotonic() + 20
            while not hands.ask("peek_heaters")["on"] and holder.poll() is None:
                assert time.monotonic() < deadline, "waited too long"
                time.sleep(0.05)
            refused = cli("restore-store", "evening.backup", "--json")
            holder.terminate()
            _, said = holder.communicate(timeout=20)
        assert (refused.status, refused.error["kind"]) == (2, "refused"), said
        assert "may hold a machine" in refused.error["message"]
        assert not list(home.glob("before-*"))
    assert cli("restore-store", "evening.backup").status == 0
