"""Killed without a word in the middle of a trial: cold at once, nothing lost, nothing doubled."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from asleft.practice.hands import Hands
from asleft.record import Store

pytestmark = pytest.mark.skipif(os.name == "nt", reason="kill -9 is POSIX")
LENGTHS = ["20.0", "20,1", "19.9"]


def begin(home: Path, address: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "asleft", "--home", str(home), "trial", "feed", "--json"]
    options = ["--yes", "--port", address, "--repeats", "3", "--temperature", "205"]
    return subprocess.Popen(
        [*command, *options],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def readings(home: Path) -> list[str]:
    with Store.open(home) as store:
        latest = store.calibrations()[-1:]
        trials = store.trials(latest[0].id) if latest else []
        return [row.raw for trial in trials for row in store.readings(trial.id)]


def wait_until(true, within_s: float = 20.0) -> None:
    deadline = time.monotonic() + within_s
    while not true():
        assert time.monotonic() < deadline, "waited too long"
        time.sleep(0.02)


@pytest.mark.parametrize("taken", [0, 1, 2])
def test_killed_while_feeding_it_is_cold_and_goes_on(tmp_path: Path, taken: int) -> None:
    with Hands(7, speed=300) as hands:
        child = begin(tmp_path, hands.address)
        assert child.stdin is not None
        child.stdin.write("".join(f"{each}\n" for each in LENGTHS[:taken]))
        child.stdin.flush()
        wait_until(lambda: len(readings(tmp_path)) == taken and hands.ask("peek_heaters")["moving"])
        child.send_signal(signal.SIGKILL)
        child.communicate()
        wait_until(lambda: not hands.ask("peek_heaters")["on"], within_s=5.0)
        assert readings(tmp_path) == LENGTHS[:taken]
        again = begin(tmp_path, hands.address)
        out, err = again.communicate("".join(f"{each}\n" for each in LENGTHS[taken:]), timeout=40)
        assert again.returncode == 0, err
        told = json.loads(out)
        assert told["outcome"] == "done"
        assert [row["raw"].strip() for row in told["readings"]] == LENGTHS
        assert not hands.ask("peek_heaters")["on"]


def test_left_hot_by_a_crash_of_every_process_it_is_made_cold_before_anything_else(
    tmp_path: Path,
) -> None:
    children = Path("/proc/self/task")
    if not children.exists():
        pytest.skip("needs /proc to find the line's process")
    with Hands(7, speed=300) as hands:
        command = [sys.executable, "-m", "asleft", "--home", str(tmp_path), "machine", "describe"]
        described = [*command, "workbench", "--port", hands.address]
        subprocess.run(described, check=True, capture_output=True)
        child = begin(tmp_path, hands.address)
        wait_until(lambda: hands.ask("peek_heaters")["moving"])
        owners = Path(f"/proc/{child.pid}/task/{child.pid}/children").read_text().split()
        for pid in [child.pid, *map(int, owners)]:
            os.kill(pid, signal.SIGKILL)
        child.communicate()
        wait_until(lambda: not hands.ask("peek_heaters")["moving"])
        assert hands.ask("peek_heaters")["on"], "nobody was left to switch it off"
        before = len(hands.ask("peek_received", last=5000)["lines"])
        asked = [sys.executable, "-m", "asleft", "--home", str(tmp_path), "found"]
        told = subprocess.run(
            [*asked, "--port", hands.address], capture_output=True, text=True, check=False
        )
        lines = [line["text"] for line in hands.ask("peek_received", last=5000)["lines"]]
        assert told.returncode == 0, told.stderr
        first = [line for line in lines[before:] if "M104" in line or "M503" in line]
        assert "M104 S0" in first[0]
        assert not hands.ask("peek_heaters")["on"]
