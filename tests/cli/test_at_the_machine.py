"""The commands on a practice machine: real bytes on a real line, the command as a real program."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from asleft.practice.hands import Hands

TEMPERATURE = ("--temperature", "205")
FOUR_TIMES_20 = "20.0\n20,1\n19.9\n20.05\n"


@pytest.fixture
def hands() -> Iterator[Hands]:
    with Hands(7, speed=600) as at_the_machine:
        yield at_the_machine


@pytest.fixture
def slow_hands() -> Iterator[Hands]:
    """A machine whose clock is so slow that a signal meets it heating."""
    with Hands(7, speed=5) as at_the_machine:
        yield at_the_machine


def heaters_on(hands: Hands) -> bool:
    return bool(hands.ask("peek_heaters")["on"])


def test_found_keeps_what_the_machine_holds(cli, hands):
    told = cli("found", "--port", hands.address, "--json")
    assert told.status == 0, told.err
    assert told.json["schema"] == "asleft.found/1"
    assert told.json["complete"] is True
    assert set(told.json["steps_per_mm"]) == {"X", "Y", "Z", "E"}
    again = cli("found", "--port", hands.address.removeprefix("socket://"))
    assert f"kept as state {told.json['kept'] + 1}" in again.out
    assert re.search(r"steps X +\d+(\.\d+)? steps/mm", again.out)


def test_a_machine_is_shown_with_what_it_answers_as(cli, hands):
    made = cli("machine", "describe", "case clocks", "--port", hands.address, "--json")
    assert made.json["fingerprints"] == []
    assert cli("found").status == 0  # the only machine, at the address described
    fingerprint = cli("machine", "list", "--json").json["machines"][0]["fingerprints"][0]
    assert fingerprint.startswith("UUID:")
    assert fingerprint in cli("machine", "show").out


def test_no_option_says_that_a_hot_machine_is_idle(cli, hands):
    at = urlsplit(hands.address)
    with socket.create_connection((at.hostname, at.port), timeout=10) as line:
        line.sendall(b"M104 S180\n")
        assert line.recv(200)
    for command in (("found",), ("set", "X=81", "--yes")):
        ran = cli(*command, "--port", hands.address, "--json")
        assert ran.status == 2, ran.err
        assert "terminal" in ran.error["hint"]
        assert heaters_on(hands)


def test_no_option_says_that_another_machine_is_the_first_one(cli, hands):
    with Hands(8, speed=600) as first:
        cli("machine", "describe", "case clocks")
        assert cli("found", "--port", first.address, "--machine", "case clocks").status == 0
    ran = cli("set", "X=81", "--yes", "--machine", "case clocks", "--port", hands.address, "--json")
    assert ran.status == 2 and ran.out == ""
    assert not any("M92" in line["text"] for line in hands.ask("peek_received")["lines"])


def test_a_change_is_read_back_stored_proved_undone_and_restored(cli, hands):
    port = ("--port", hands.address)
    before = cli("found", *port, "--json").json
    done = cli("set", "X=80.5", "e=93,25", "--store", "--yes", *port, "--json")
    assert done.status == 0, done.err
    assert done.json["verified"] is True and done.json["stored"] is True
    assert done.json["read_back"]["X"] == 80.5
    assert done.json["read_back"]["E"] == 93.25
    changed = done.json["kept_after"]
    hands.ask("power_cycle")
    proved = cli("prove", "--power-cycled", *port, "--json")
    assert proved.status == 0, proved.err
    assert proved.json["survived_power_cycle"] is True
    back = cli("undo", "--yes", *port, "--json")
    assert back.status == 0, back.err
    assert back.json["read_back"]["E"] == before["steps_per_mm"]["E"]
    again = cli("restore", str(changed), "--yes", *port)
    assert again.status == 0, again.err
    assert "80.5 steps/mm" in again.out
    assert cli("restore", "9999", "--yes", *port, "--json").status == 2


def test_unstored_change_does_not_survive_and_says_so(cli, hands):
    port = ("--port", hands.address)
    assert cli("found", *port).status == 0
    word = cli("prove", "--power-cycled", *port)
    assert word.status == 1 and "othing was there to survive" in " ".join(word.out.split())
    assert "rests on your word" in word.out.split("holds")[0]
    assert cli("set", "X=81", "--yes", *port).status == 0
    hands.ask("power_cycle")
    proved = cli("prove", "--power-cycled", *port)
    assert proved.status == 1
    assert "did not survive the power cycle" in proved.out


def test_a_wrong_value_sends_nothing(cli, hands):
    port = ("--port", hands.address)
    before = cli("found", *port, "--json").json["steps_per_mm"]
    for wrong in ("X=0", "E7=90"):
        ran = cli("set", wrong, "--yes", *port, "--json")
        assert (ran.status, ran.out) == (2, ""), ran.err
        assert ran.error["kind"] == "input"
    assert cli("found", *port, "--json").json["steps_per_mm"] == before


def test_no_option_but_far_says_that_a_strange_value_is_meant(cli, hands):
    port = ("--port", hands.address)
    ran = cli("set", "X=8000", "--yes", *port, "--json")
    assert (ran.status, ran.error["where"]) == (2, "X"), ran.err
    assert "80 in force" in ran.error["message"] and "--far" in ran.error["hint"]
    assert hands.ask("peek_settings")["in_force"]["M92"]["X"] == 80.0
    assert cli("set", "X=88", "--yes", "--far", *port).status == 0


@pytest.mark.parametrize("wrong", ["X=nan", "X=1,234.5", "X", "x=80 X=81"])
def test_what_is_no_value_never_reaches_a_machine(cli, wrong):
    ran = cli("set", *wrong.split(), "--yes", "--port", "socket://127.0.0.1:9", "--json")
    assert ran.status == 2 and ran.error["kind"] == "input"  # with the line opened it were 3


def test_feed_takes_the_lengths_from_standard_input(cli, hands):
    ran = cli(
        *("trial", "feed", *TEMPERATURE, "--yes", "--port", hands.address, "--json"),
        stdin=FOUR_TIMES_20,
    )
    assert ran.status == 0, ran.err
    told = ran.json
    assert told["outcome"] == "done"
    assert [r["raw"] for r in told["readings"]] == FOUR_TIMES_20.split()
    assert told["result"]["proposals"][0]["verdict"] == "leave"
    assert "Caution: " in ran.err  # the cautions stand with the step
    assert not heaters_on(hands)


def test_too_few_lengths_are_a_stop_with_heaters_off(cli, hands):
    ran = cli(
        *("trial", "feed", *TEMPERATURE, "--yes", "--port", hands.address, "--json"),
        stdin="20.0\n20.1\n",
    )
    assert ran.status == 1, ran.err
    assert not heaters_on(hands)


def test_a_feed_that_may_not_be_is_refused_cold(cli, hands):
    for wrong in (
        ("--temperature", "400"),
        (*TEMPERATURE, "--length", "200"),
        (*TEMPERATURE, "--kept", "9999"),
    ):
        ran = cli("trial", "feed", "--yes", "--port", hands.address, "--json", *wrong)
        assert ran.status == 2, (wrong, ran.err)
        assert ran.error["hint"]
        assert not heaters_on(hands)


@contextmanager
def started(command: str, home: Path, *arguments: str) -> Iterator[subprocess.Popen[str]]:
    """A run of the command that goes on beside the test, and never longer than it."""
    with subprocess.Popen(
        [command, "--home", str(home), *arguments],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
    ) as child:
        try:
            yield child
        finally:
            if child.poll() is None:
                child.kill()


def wait_for(stream, words: str, within_s: float = 20.0) -> str:
    """Read lines until one has the words."""
    until_s, seen = time.monotonic() + within_s, ""
    while words not in seen:
        line = stream.readline()
        assert line and time.monotonic() < until_s, seen
        seen += line
    return seen


@pytest.mark.skipif(os.name == "nt", reason="POSIX signals")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_in_a_heat_wait_stops_at_once_and_leaves_it_cold(
    command, tmp_path, slow_hands, number
):
    arguments = ("trial", "feed", *TEMPERATURE, "--yes", "--port", slow_hands.address)
    with started(command, tmp_path / "home", *arguments) as child:
        wait_for(child.stderr, "Heating")
        assert heaters_on(slow_hands)
        sent_s = time.monotonic()
        child.send_signal(number)
        while heaters_on(slow_hands):
            assert time.monotonic() - sent_s < 5
        off_after_s = time.monotonic() - sent_s
        out, err = child.communicate(timeout=30)
    assert child.returncode == 130, err
    assert out == "" and "Stopped" in err and "Traceback" not in err
    assert off_after_s < 0.5  # the stop itself goes out within 0.1 s: see the wire log's test


@pytest.mark.skipif(os.name == "nt", reason="POSIX signals")
def test_a_second_program_is_told_who_holds_the_line(cli, command, tmp_path, slow_hands):
    arguments = ("trial", "feed", *TEMPERATURE, "--yes", "--port", slow_hands.address)
    with started(command, tmp_path / "home", *arguments) as first:
        wait_for(first.stderr, "Heating")
        second = cli("found", "--port", slow_hands.address, "--json")
        assert second.status == 3, second.err
        assert second.error["kind"] == "line"
        assert str(first.pid) in json.dumps(second.error)
        assert first.poll() is None  # undisturbed
        first.send_signal(signal.SIGTERM)
        first.communicate(timeout=30)


def test_nobody_at_the_address_is_a_line_error(cli):
    ran = cli("found", "--port", "socket://127.0.0.1:9", "--json")
    assert ran.status == 3 and ran.error["kind"] == "line"
