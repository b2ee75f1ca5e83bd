"""A whole feed trial typed at a pseudo-terminal: prompts, a slip of the finger, cautions, a bar."""

from __future__ import annotations

import contextlib
import json
import os
import re
import select
import subprocess
import time
from pathlib import Path

import pytest

from asleft.practice.hands import Hands

pty = pytest.importorskip("pty", reason="pseudo-terminals are POSIX")

STEPS = re.compile(r"\[(yes or no|mm)\] \Z")


class Sitting:
    """One command with a terminal of its own; what it printed so far is in `seen`."""

    def __init__(self, command: str, home: Path, *arguments: str) -> None:
        self.terminal, inner = pty.openpty()
        self.child = subprocess.Popen(
            [command, "--home", str(home), *arguments],
            stdin=inner,
            stdout=subprocess.PIPE,
            stderr=inner,
            start_new_session=True,
        )
        os.close(inner)
        self.seen = ""

    def wait_for_prompt(self, within_s: float = 30.0) -> str:
        """Read until the program asks; returns the last question's unit."""
        until_s = time.monotonic() + within_s
        while not (asked := STEPS.search(self.seen)):
            assert time.monotonic() < until_s, self.seen
            self.seen += os.read(self.terminal, 4096).decode()
        return asked.group(1)

    def type(self, text: str) -> None:
        self.seen += "\n"
        os.write(self.terminal, (text + "\n").encode())

    def end(self, within_s: float = 30.0) -> tuple[int, str]:
        """Read until the program has ended; its status and standard output."""
        until_s = time.monotonic() + within_s
        while self.child.poll() is None:
            assert time.monotonic() < until_s, self.seen
            # A terminal whose program has gone reads as an I/O error.
            with contextlib.suppress(OSError):
                if select.select([self.terminal], [], [], 0.05)[0]:
                    self.seen += os.read(self.terminal, 4096).decode()
        out, _ = self.child.communicate()
        return self.child.returncode, out.decode()

    def close(self) -> None:
        if self.child.poll() is None:
            self.child.kill()
            self.child.communicate()
        os.close(self.terminal)


def test_a_person_does_a_feed_trial(command, tmp_path):
    with Hands(7, speed=600) as hands:
        sitting = Sitting(
            *(command, tmp_path / "home", "trial", "feed", "--temperature", "205"),
            *("--repeats", "2", "--port", hands.address),
        )
        try:
            slips = ["twenty", "20.1"]
            lengths = iter([*slips, "20,05"])
            for turn in range(6):  # ready, mark, length, length again, mark, length
                unit = sitting.wait_for_prompt()
                sitting.type("yes" if unit == "yes or no" else next(lengths))
                if turn == 0:
                    os.write(sitting.terminal, b"yes\n")  # too early: it heats, nothing was asked
            status, out = sitting.end()
        finally:
            sitting.close()
        assert hands.ask("peek_heaters")["on"] is False
    assert status == 0, sitting.seen
    assert "'twenty' is not a number" in sitting.seen
    assert "Caution: " in sitting.seen
    assert "Kept: 2 readings" in out and "interval" in out


def test_no_is_a_stop_and_nothing_was_heated(command, tmp_path):
    with Hands(7, speed=600) as hands:
        sitting = Sitting(
            *(command, tmp_path / "home", "trial", "feed", "--temperature", "205"),
            *("--port", hands.address),
        )
        try:
            sitting.wait_for_prompt()
            sitting.type("no")
            status, out = sitting.end()
        finally:
            sitting.close()
        assert hands.ask("peek_heaters")["nozzle_c"] < 30
    assert status in (1, 130) and out == ""


def test_two_machines_at_one_terminal(command, tmp_path):
    """Each question names its machine, `later` goes to the other; each reading finds its own."""
    home = tmp_path / "home"
    with Hands(7, speed=600) as bracket, Hands(8, speed=600) as mantel:
        for name, hands in (("bracket", bracket), ("mantel", mantel)):
            described = [command, "--home", home, "machine", "describe", name]
            subprocess.run([*described, "--port", hands.address], check=True, capture_output=True)
        trial = ("trial", "feed", "--machine", "bracket", "--machine", "mantel")
        sitting = Sitting(command, home, *trial, "--temperature", "205", "--repeats", "1", "--json")
        lengths, put_off, asked = {"bracket": "20.1", "mantel": "19.7"}, False, []
        try:
            while len([each for each in asked if each[1] == "mm"]) < 2:
                unit = sitting.wait_for_prompt()
                machine = re.findall(r"(bracket|mantel): ", sitting.seen)[-1]
                if unit == "mm" and not put_off:
                    put_off = True
                    sitting.type("later")
                    continue
                asked.append((machine, unit))
                sitting.type("yes" if unit == "yes or no" else lengths[machine])
            status, out = sitting.end()
        finally:
            sitting.close()
        assert not bracket.ask("peek_heaters")["on"] and not mantel.ask("peek_heaters")["on"]
    assert status == 0, sitting.seen
    told = json.loads(out)
    assert told["schema"] == "asleft.several/1"
    for each in told["machines"]:
        assert [r["raw"] for r in each["told"]["readings"]] == [lengths[each["machine"]]]


def test_several_machines_need_a_person(cli):
    ran = cli("trial", "feed", "--machine", "a", "--machine", "b", "--yes", "--json")
    assert (ran.status, ran.error["kind"]) == (2, "input")
    ran = cli("set", "X=80", "--machine", "a", "--machine", "b", "--yes", "--json")
    assert ran.status == 2 and "for one" in ran.error["message"]
