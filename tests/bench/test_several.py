"""Three machines in one evening: one person, one caliper, one stop."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from asleft.bench import Ask, Bench, Later, Several
from asleft.cli import signals
from asleft.cli.practice_person import PracticePerson
from asleft.errors import InputError, Stopped
from asleft.practice.hands import Hands
from asleft.record import Store
from asleft.units import Typed

FEED = {"temperature_c": 205.0, "repeats": 2}
NAMES = ("bracket", "mantel", "turret")


class OneOwner:
    """One person at three machines, who notes what was asked and does it at the right one."""

    def __init__(self, hands: dict[str, Hands], before: Callable[[Ask], None]) -> None:
        self._at = {
            name: PracticePerson(each, say=lambda _: None, progress=lambda *_: None)
            for name, each in hands.items()
        }
        self._before = before
        self._thread = threading.get_ident()
        self.asked: list[tuple[str, str]] = []
        self.told: list[str] = []
        self.waits: list[str] = []

    def _turn(self, ask: Ask) -> PracticePerson:
        assert threading.get_ident() == self._thread, "a terminal is read by one thread"
        machine = str(ask.details["machine"])
        assert ask.text.startswith(f"At {machine}: ")
        self._before(ask)
        self.asked.append((machine, ask.key))
        return self._at[machine]

    def confirm(self, ask: Ask) -> bool:
        at = self._turn(ask)
        details = {key: value for key, value in ask.details.items() if key != "machine"}
        return at.confirm(Ask(**{**vars(ask), "details": details}))

    def number(self, ask: Ask) -> Typed:
        return self._turn(ask).number(ask)

    def choose(self, ask: Ask) -> str:
        return self._turn(ask).choose(ask)

    def tell(self, text: str) -> None:
        self.told.append(text)

    def progress(self, what: str, done: float, remaining_s: float | None) -> None:
        self.waits.append(what)


@pytest.fixture(scope="module")
def three() -> Iterator[dict[str, Hands]]:
    with ExitStack() as stack:
        yield {
            name: stack.enter_context(Hands(seed, speed=600))
            for seed, name in enumerate(NAMES, start=11)
        }


@pytest.fixture
def home(three: dict[str, Hands], tmp_path: Path) -> Path:
    with Bench(tmp_path, OneOwner({}, nothing), holder="a test") as bench:
        for name, hands in three.items():
            machine = {**hands.hello["machine"], "name": name, "address": hands.address}
            bench.describe_machine(machine)
    return tmp_path


def nothing(*_: Any) -> None:
    """Whoever is told needs not listen."""


def feed(bench: Bench) -> dict[str, Any]:
    return bench.trial("feed", FEED)


def cold(three: dict[str, Hands]) -> bool:
    return not any(hands.ask("peek_heaters")["on"] for hands in three.values())


def readings(home: Path) -> dict[str, int]:
    """How many readings stand, by machine."""
    with Store.open(home) as store:
        return {
            machine.name: sum(
                len(store.readings(trial.id))
                for calibration in store.calibrations(machine.id)
                for trial in store.trials(calibration.id)
            )
            for machine in store.machines()
        }


def test_one_machines_fault_is_its_own(three: dict[str, Hands], home: Path) -> None:
    def power_switch(ask: Ask) -> None:
        if (ask.details["machine"], ask.key) == ("mantel", "feed.1.remaining"):
            three["mantel"].ask("power_cycle")

    person = OneOwner(three, power_switch)
    came = {at.machine: at for at in Several(home, person, NAMES, holder="a test").run(feed)}
    error = came["mantel"].error
    assert error is not None
    assert (error.kind, error.exit_status) == ("machine", 3)
    assert any(text.startswith("At mantel: ") and "others go on" in text for text in person.told)
    for name in ("bracket", "turret"):
        told = came[name].told
        assert told is not None
        assert told["outcome"] == "done"
    assert cold(three)
    assert readings(home) == {"bracket": 2, "mantel": 1, "turret": 2}


def test_one_stop_stops_all(three: dict[str, Hands], home: Path) -> None:
    taken: list[str] = []

    def until_hot(ask: Ask) -> None:
        taken.append(ask.key)
        if len([key for key in taken if key.endswith("remaining")]) == 2:
            signal.raise_signal(signal.SIGINT)

    was = signal.getsignal(signal.SIGINT)
    several = Several(home, OneOwner(three, until_hot), NAMES, holder="a test")
    signal.signal(signal.SIGINT, signals._handle)
    try:
        with signals.on_stop(several.stop_now), pytest.raises(KeyboardInterrupt):
            several.run(feed)
    finally:
        signal.signal(signal.SIGINT, was)
        signals._received.clear()
    assert cold(three)
    assert sum(readings(home).values()) == 1
    again = Several(home, OneOwner(three, nothing), NAMES, holder="a test").run(feed)
    assert [at.told and at.told["outcome"] for at in again] == ["done"] * 3
    assert readings(home) == dict.fromkeys(NAMES, 2)


def test_whoever_leaves_leaves_all_cold(three: dict[str, Hands], home: Path) -> None:
    def gone(ask: Ask) -> None:
        if ask.key.endswith("remaining"):
            raise Stopped("the answers ended", where="standard input")

    with pytest.raises(Stopped):
        Several(home, OneOwner(three, gone), NAMES, holder="a test").run(feed)
    assert cold(three)
    assert not [t for t in threading.enumerate() if t.name in NAMES]


def test_a_question_can_wait_for_the_others(three: dict[str, Hands], home: Path) -> None:
    put_off: list[str] = []

    def not_yet(ask: Ask) -> None:
        machine = str(ask.details["machine"])
        if ask.key == "feed.1.remaining" and machine not in put_off:
            put_off.append(machine)
            raise Later

    person = OneOwner(three, not_yet)
    came = Several(home, person, NAMES, holder="a test").run(feed)
    assert sorted(put_off) == sorted(NAMES)
    assert [at.told and at.told["outcome"] for at in came] == ["done"] * 3


def test_a_stop_while_a_line_is_opened_reaches_it(three: dict[str, Hands], home: Path) -> None:
    from asleft.controller import connect

    opened = []

    def slow(*given: Any, **more: Any) -> Any:
        machine = connect(*given, **more)
        opened.append(machine)
        if len(opened) == 3:
            several.stop_now()
        else:
            time.sleep(0.2)
        return machine

    several = Several(home, OneOwner(three, nothing), NAMES, holder="a test", open_machine=slow)
    came = several.run(feed)
    assert all(isinstance(at.error, Stopped) for at in came)
    assert cold(three)
    sent = [line["text"] for h in three.values() for line in h.ask("peek_received")["lines"]]
    assert not [line for line in sent if "M104 S2" in line]


# A program at all three whose person answers yes, and never types a number.
ABSENT = """
import sys, time
from pathlib import Path
from asleft.bench import Several

class Absent:
    def tell(self, text): pass
    def confirm(self, ask): return True
    def number(self, ask): time.sleep(60)
    def progress(self, what, done, remaining_s): pass

home, *names = sys.argv[1:]
options = {"temperature_c": 205.0, "repeats": 2}
Several(Path(home), Absent(), names, holder="gone soon").run(lambda b: b.trial("feed", options))
"""


@pytest.mark.skipif(os.name == "nt", reason="kill -9 is POSIX")
def test_killed_at_three_hot_machines_all_go_cold(three: dict[str, Hands], home: Path) -> None:
    with subprocess.Popen([sys.executable, "-c", ABSENT, str(home), *NAMES]) as program:
        within(30.0, lambda: all(h.ask("peek_heaters")["on"] for h in three.values()))
        program.kill()
    within(5.0, lambda: cold(three))
    # Whoever comes next waits only until the lines are let go.
    within(40.0, lambda: not [at.error for at in found_at(home, three) if at.error])


def found_at(home: Path, three: dict[str, Hands]) -> Any:
    several = Several(home, OneOwner(three, nothing), NAMES, holder="next")
    return several.run(lambda bench: bench.found())


def within(limit_s: float, true: Callable[[], bool]) -> None:
    until_s = time.monotonic() + limit_s
    while not true():
        assert time.monotonic() < until_s, "waited too long"
        time.sleep(0.02)


def test_named_twice(home: Path) -> None:
    with pytest.raises(InputError, match="twice"):
        Several(home, OneOwner({}, nothing), ("turret", "turret"), holder="a test")


def test_while_one_heats_another_is_measured(three: dict[str, Hands], home: Path) -> None:
    person = OneOwner(three, nothing)
    came = Several(home, person, NAMES, holder="a test").run(feed)
    assert [at.machine for at in came] == list(NAMES)
    assert [at.error for at in came] == [None] * 3
    for at, hands in zip(came, three.values(), strict=True):
        assert at.told is not None
        assert at.told["outcome"] == "done"
        assert len(at.told["readings"]) == 2
        ratio = at.told["result"]["quantities"][0]
        # Nothing can be measured after this, so that this test stands last.
        truth = 1 + hands.ask("reveal")["hidden"]["E"]
        assert abs(ratio["value"] - truth) < 5 * ratio["u"], "each reading went to its own machine"
    assert cold(three)
    machines = [machine for machine, _ in person.asked]
    first_end = min(max(i for i, m in enumerate(machines) if m == name) for name in NAMES)
    assert len(set(machines[:first_end])) == 3, "nobody waited for another one's whole trial"
    # At one machine as long as it asks: mark and cautions are not torn apart from each other.
    changes = sum(a != b for a, b in pairwise(machines))
    assert changes < len(machines) - 1
    assert any(name in what for name in NAMES for what in person.waits)
