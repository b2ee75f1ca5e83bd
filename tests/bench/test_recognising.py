"""Whose history an answer belongs to, where the answer is poor. The practice machine answers well.

So the machine here is one answer to M115 after the other, read as the real one's are.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any

import pytest

from asleft.bench.line.recognising import NONE_GIVEN, meant, recognise
from asleft.bench.person import Ask
from asleft.controller import MachineDescription
from asleft.controller.capabilities import Identity, parse_identity
from asleft.errors import RefusedError
from asleft.record import Store

NAMED = "FIRMWARE_NAME:board 2.1 UUID:3f1c-01"
GARBLED = "FIRMWARE_NAME:board 2.1 UU"
NAMELESS = "FIRMWARE_NAME:board 3.0"


@dataclass
class Answering:
    """Says one line after the other when it is asked who it is; the last one for ever."""

    answers: list[str]
    identity: Identity | None = None
    facts: Any = field(default_factory=lambda: SimpleNamespace(address="/dev/ttyUSB7"))

    def identify(self) -> Identity:
        said = self.answers.pop(0) if len(self.answers) > 1 else self.answers[0]
        self.identity = parse_identity([said])
        return self.identity


@dataclass
class Someone:
    """Answers every question in one way and counts them."""

    answer: bool = True
    asked: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    def tell(self, text: str) -> None:
        self.told.append(text)

    def confirm(self, ask: Ask) -> bool:
        self.asked.append(ask.key)
        return self.answer


@pytest.fixture
def store(tmp_path):
    with Store.open(tmp_path) as opened:
        opened.add_machine(MachineDescription("case clocks", address="/dev/ttyUSB7").to_dict())
        yield opened


def seen(store: Store, person: Someone, *answers: str, by_name: bool = True):
    return recognise(
        store,
        person,  # type: ignore[arg-type]
        Answering(list(answers)),  # type: ignore[arg-type]
        named=store.machine("case clocks") if by_name else None,
        unknown=MachineDescription("machine at /dev/ttyUSB7", address="/dev/ttyUSB7"),
    )


def test_a_garbled_answer_is_no_other_machine(store):
    someone = Someone(answer=False)
    seen(store, someone, NAMED)
    assert seen(store, someone, GARBLED, NAMED).fingerprints == ("UUID:3f1c-01",)
    assert not someone.asked


@pytest.mark.parametrize("by_name", [True, False])
def test_a_machine_that_gives_no_fingerprint_any_more_may_be_another(store, by_name):
    seen(store, Someone(), NAMED)
    with pytest.raises(RefusedError):
        seen(store, Someone(answer=False), NAMELESS, by_name=by_name)
    someone = Someone()
    assert seen(store, someone, NAMELESS, by_name=by_name).fingerprints[-1] == NONE_GIVEN
    assert seen(store, someone, NAMELESS, by_name=by_name).name == "case clocks"
    assert someone.asked == ["connect.replaced"]  # and not again


def test_machines_without_fingerprints_are_told_apart_by_their_address_alone(store):
    someone = Someone()
    store.add_machine({"name": "jigs", "address": "/dev/ttyUSB8"})
    assert seen(store, someone, NAMELESS, by_name=False).name == "case clocks"
    assert store.machine("case clocks").fingerprints == ()
    assert not someone.asked


def test_a_fingerprint_outweighs_the_address(store):
    store.add_machine({"name": "jigs", "address": "/dev/ttyUSB8"})
    store.note_fingerprint(2, "UUID:3f1c-01")
    assert seen(store, Someone(), NAMED, by_name=False).name == "jigs"


@pytest.mark.parametrize(("says", "known"), [(NAMED, ("UUID:3f1c-01",)), (NAMELESS, ())])
def test_a_machine_met_before_it_was_described_has_its_name_afterwards(tmp_path, says, known):
    with Store.open(tmp_path) as store:
        someone = Someone()
        met = seen(store, someone, says, by_name=False)
        assert met.name == "machine at /dev/ttyUSB7" and "machine describe NAME" in someone.told[0]
        store.add_machine(MachineDescription("case clocks", address="/dev/ttyUSB7").to_dict())
        assert meant(store, None).name == "case clocks"
        assert seen(store, someone, says).fingerprints == known
        assert seen(store, someone, says, by_name=False).name == "case clocks"
        assert len(someone.told) == 1 + len(known) and not someone.asked  # said once
