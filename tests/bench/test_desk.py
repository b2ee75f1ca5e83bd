"""Which machine is at the bench, under whose name it is filed, and what it is guarded by."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from asleft.bench import Ask, Bench
from asleft.errors import InputError, RefusedError
from asleft.practice.hands import Hands
from asleft.units import Typed

CASE_CLOCKS = {"name": "case clocks", "max_nozzle_c": 245.0, "max_bed_c": 90.0}


@dataclass
class Someone:
    """A person at the machine who answers every question in one way, and remembers them."""

    answer: bool = True
    asked: list[Ask] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    def tell(self, text: str) -> None:
        self.told.append(text)

    def confirm(self, ask: Ask) -> bool:
        self.asked.append(ask)
        return self.answer

    def number(self, ask: Ask) -> Typed:
        raise AssertionError(ask)

    def choose(self, ask: Ask) -> str:
        raise AssertionError(ask)

    def progress(self, what: str, done: float, remaining_s: float | None) -> None:
        pass


@pytest.fixture
def hands() -> Iterator[Hands]:
    with Hands(7, speed=600) as machine:
        yield machine


@pytest.fixture
def other_hands() -> Iterator[Hands]:
    with Hands(8, speed=600) as machine:
        yield machine


@contextmanager
def sit_down(
    home: Path, person: Someone, *, machine: str | None = None, address: str | None = None
) -> Iterator[Bench]:
    with Bench(home, person, holder="a test", machine=machine, address=address) as bench:
        yield bench


def heat_from_elsewhere(hands: Hands) -> None:
    """Another program, long gone, left the nozzle on."""
    at = urlsplit(hands.address)
    with socket.create_connection((at.hostname, at.port), timeout=10) as line:
        line.sendall(b"M104 S180\n")
        with line.makefile("rb") as heard:
            assert any(answer.startswith(b"ok") for answer in heard)


def test_two_machines_by_port_alone_are_filed_apart(tmp_path, hands, other_hands):
    someone = Someone()
    found = []
    for at in (hands, other_hands, hands):
        with sit_down(tmp_path, someone, address=at.address) as bench:
            found.append(bench.found())
            filed = {row["name"]: row["fingerprints"] for row in bench.machines()}
            kept = [len(bench._desk.store.kept_states(n + 1)) for n in range(len(filed))]
    assert found[0]["machine"] == found[2]["machine"] != found[1]["machine"]
    assert kept == [2, 1]
    assert len(filed) == 2 and sorted(map(len, filed.values())) == [1, 1]
    assert not someone.asked
    assert "260 °C" in " ".join(someone.told)  # the second was taken for a new one, and so said


def test_a_machine_is_known_again_on_another_port_with_its_owners_limits(tmp_path, hands):
    someone = Someone()
    with sit_down(tmp_path, someone, machine="case clocks", address=hands.address) as bench:
        bench.describe_machine(CASE_CLOCKS)
        bench.found()
    with (
        Hands(7, speed=600) as elsewhere,
        sit_down(tmp_path, someone, address=elsewhere.address) as bench,
    ):
        assert elsewhere.address != hands.address
        assert bench.found()["machine"] == "case clocks"
        machine = bench._desk.connect()
        assert machine.description.max_nozzle_c == 245.0
        with pytest.raises(RefusedError, match="245 °C"):  # by the process that owns the line
            machine._asker.line.exchange("M104 S250", within_s=5)
        with pytest.raises(RefusedError, match="90 °C"):
            machine._asker.line.exchange("M140 S95", within_s=5)
        assert not elsewhere.ask("peek_heaters")["on"]
    assert not someone.asked and not someone.told


def test_a_machine_described_with_this_address_is_that_one(tmp_path, hands):
    someone = Someone()
    written_otherwise = hands.address.replace("127.0.0.1", "localhost")
    with sit_down(tmp_path, someone, address=hands.address) as bench:
        bench.describe_machine({**CASE_CLOCKS, "address": written_otherwise})
        bench.describe_machine({"name": "jigs", "address": "socket://127.0.0.1:9"})
        assert bench.found()["machine"] == "case clocks"
        shown = bench.machine("case clocks")
        assert [text[:5] for text in shown["fingerprints"]] == ["UUID:"]
        assert bench.machine("jigs")["fingerprints"] == []
        with pytest.raises(RefusedError, match="245 °C"):
            bench._desk.connect()._asker.line.exchange("M104 S250", within_s=5)


def test_two_described_with_one_address_are_not_guessed_at(tmp_path, hands):
    with sit_down(tmp_path, Someone(), address=hands.address) as bench:
        for name in ("case clocks", "jigs"):
            bench.describe_machine({"name": name, "address": hands.address})
        with pytest.raises(InputError, match="several machines") as refused:
            bench.found()
    assert "case clocks, jigs" in (refused.value.hint or "")


def test_a_machine_that_may_be_a_described_one_gets_no_other_limits(tmp_path, hands):
    with sit_down(tmp_path, Someone(), address=hands.address) as bench:
        bench.describe_machine(CASE_CLOCKS)  # without its port
        with pytest.raises(InputError, match="case clocks") as refused:
            bench.found()
        assert [each["name"] for each in bench.machines()] == ["case clocks"]
    assert "--machine" in (refused.value.hint or "")


def test_a_description_that_changes_counts_on_the_open_line(tmp_path, hands):
    with sit_down(tmp_path, Someone(), machine="case clocks", address=hands.address) as bench:
        bench.describe_machine({"name": "case clocks"})
        bench.found()
        bench.describe_machine(CASE_CLOCKS)
        with pytest.raises(RefusedError, match="245 °C"):
            bench._desk.connect()._asker.line.exchange("M104 S250", within_s=5)


@pytest.mark.parametrize("by_name", [True, False])
def test_another_machine_on_the_port_is_not_filed_as_the_first(
    tmp_path, hands, other_hands, by_name
):
    with sit_down(tmp_path, Someone(), machine="case clocks", address=hands.address) as bench:
        bench.describe_machine({**CASE_CLOCKS, "address": other_hands.address})
        bench.found()
    someone = Someone(answer=False)
    name = "case clocks" if by_name else None
    with (
        sit_down(tmp_path, someone, machine=name, address=other_hands.address) as bench,
        pytest.raises(RefusedError, match="case clocks") as refused,
    ):
        bench.found()
    assert "describe" in (refused.value.hint or "")
    assert [ask.only_in_person for ask in someone.asked] == [True]
    with sit_down(tmp_path, someone) as bench:
        assert len(bench.machine("case clocks")["fingerprints"]) == 1
        assert len(bench._desk.store.kept_states(1)) == 1


def test_a_board_that_was_replaced_is_the_same_machine_once_a_person_says_so(
    tmp_path, hands, other_hands
):
    with sit_down(tmp_path, Someone(), machine="case clocks", address=hands.address) as bench:
        bench.describe_machine(CASE_CLOCKS)
        bench.found()
    someone = Someone()
    with sit_down(tmp_path, someone, machine="case clocks", address=other_hands.address) as bench:
        assert bench.found()["machine"] == "case clocks"
        assert len(bench.machine("case clocks")["fingerprints"]) == 2
    assert [ask.key for ask in someone.asked] == ["connect.replaced"]
    with sit_down(tmp_path, someone, address=other_hands.address) as bench:
        assert bench.found()["machine"] == "case clocks"
    assert len(someone.asked) == 1  # once is enough


@pytest.mark.parametrize("idle", [True, False])
def test_a_machine_found_hot_is_cooled_only_when_a_person_says_it_is_idle(tmp_path, hands, idle):
    heat_from_elsewhere(hands)
    assert hands.ask("peek_heaters")["nozzle_target_c"] == 180
    someone = Someone(answer=idle)
    with sit_down(tmp_path, someone, address=hands.address) as bench:
        if idle:
            assert bench.found()["complete"]
        else:
            with pytest.raises(RefusedError, match="left alone"):
                bench.found()
    assert [(ask.key, ask.only_in_person) for ask in someone.asked] == [("connect.hot", True)]
    assert hands.ask("peek_heaters")["on"] is not idle


def test_describing_opens_no_line_and_changes_only_what_is_given(tmp_path, hands):
    with sit_down(tmp_path, Someone(), address=hands.address) as bench:
        bench.describe_machine(CASE_CLOCKS)
        assert bench.describe_machine({"name": "case clocks", "tools": 2})["max_nozzle_c"] == 245
        bench.describe_instrument({"name": "vernier", "mpe_mm": 0.02, "jaw_depth_mm": 16.0})
        again = bench.describe_instrument({"name": "vernier", "reach_mm": 200.0})
        assert (again["mpe_mm"], again["jaw_depth_mm"]) == (0.02, 16.0)
        with pytest.raises(InputError):
            bench.describe_machine({"name": "case clocks", "tools": 0})
        assert bench.machine(None)["tools"] == 2
        assert bench._desk.connection is None
    assert not hands.ask("peek_received")["lines"]
