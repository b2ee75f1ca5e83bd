"""`asleft piece … --stream` at a practice machine: begun, interrupted, refused."""

from __future__ import annotations

import io
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from asleft.cli.stream import Enter
from asleft.practice import Hands

RING = ("piece", "bead", "--flats", "30", "--nozzle-temp", "205", "--bed-temp", "0", "--json")


def asleft(home: Path, *arguments: str, **more) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "asleft", "--home", str(home), *arguments]
    return subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL, text=True
    )


@pytest.mark.skipif(os.name == "nt", reason="an interrupt of a single process is POSIX")
def test_an_interrupt_ends_a_print_cold_and_says_how_far_it_was(tmp_path: Path) -> None:
    with Hands(3, speed=300) as hands:
        out = ("--out", str(tmp_path / "ring"), "--stream", "--yes", "--port", hands.address)
        child = asleft(tmp_path, *RING, *out)
        deadline = time.monotonic() + 40
        while not hands.ask("peek_received", last=1)["lines"] or not any(
            " G1 X" in line["text"] for line in hands.ask("peek_received", last=9)["lines"]
        ):
            assert time.monotonic() < deadline and child.poll() is None, child.communicate()
            time.sleep(0.05)
        child.send_signal(signal.SIGINT)
        said, told = child.communicate(timeout=30)
        assert child.returncode == 130 and said == ""
        assert "to go on" not in told and "with --force" in told
        assert "The print ended at line" in told and "power switch in reach" in told
        assert hands.ask("peek_heaters")["on"] is False
    assert (tmp_path / "ring" / "bead.gcode").exists()


def test_without_anybody_or_anything_to_print_nothing_is_written(tmp_path: Path) -> None:
    out = ("--out", str(tmp_path / "ring"), "--stream")
    child = asleft(tmp_path, *RING, *out)
    assert child.wait(20) == 2
    assert "--yes" in json.loads(child.communicate()[1])["hint"]
    child = asleft(tmp_path, *RING, *out, "--yes", "--no-path")
    assert child.wait(20) == 2
    assert "nothing to print" in json.loads(child.communicate()[1])["message"]
    assert not (tmp_path / "ring").exists()


def test_enter_pauses_and_goes_on() -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    keys = Enter(Terminal("\n"))
    keys.paused()
    deadline = time.monotonic() + 5
    while not keys.paused():
        assert time.monotonic() < deadline
        time.sleep(0.01)
    assert Enter(io.StringIO("\n")).paused() is False
