"""Deltas, and machines whose steps live in a file: changes end to end at a board that is scripted.

The board stands in for a line only: it holds lines, tells and sets them, and loses what it must.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from asleft.bench import Ask, Bench
from asleft.controller import MachineDescription
from asleft.controller.machine import Machine
from asleft.errors import InputError, MachineError, RefusedError
from asleft.link.answer import Answer, LineFacts, Notice
from asleft.pieces import SpanPiece
from asleft.units import Typed

DELTA = (
    "M92 X80.00 Y80.00 Z80.00 E93.00",
    "M665 L215.300 R105.400 H241.200 S200.00 X0.100 Y-0.200 Z0.000",
    "M666 X-0.120 Y0.000 Z-0.310",
    'M587 S"bench"',
)


@dataclass
class Board:
    """A controller's memory: lines in force, lines stored, and which codes it knows."""

    live: list[str]
    stored: list[str] = field(default_factory=list)
    knows: frozenset[str] = frozenset({"M92", "M503", "M500"})
    keys: tuple[str, ...] = ()
    sent: list[str] = field(default_factory=list)
    deaf: bool = False  # takes no setting, and does not say so

    def __post_init__(self) -> None:
        self.stored = self.stored or list(self.live)
        self.facts = LineFacts("socket://127.0.0.1:1", None, "none", False)

    def exchange(self, command: str, *, within_s: float) -> Answer:
        self.sent.append(command)
        code, _, words = command.partition(" ")
        if code in ("M92", "M503", "M500") and code not in self.knows:
            return Answer(command, (f'echo:Unknown command: "{command}"',), "", ())
        said: list[str] = []
        if code == "M503":
            said = [*self.keys, *self.live]
        elif code == "M92" and not words:
            said = [x for x in self.live if x.startswith("M92")]
        elif code == "M500":
            self.stored = list(self.live)
            said = ["echo:Settings stored (611 bytes)"]
        elif code == "M501":
            self.live = list(self.stored)
        elif code == "M114":
            said = ["X:0.00 Y:0.00 Z:5.00 E:0.00"]
        elif code == "M105":
            said = ["T:20.0 /0.0 B:20.0 /0.0"]
        elif code == "M27":
            said = ["Not printing"]
        elif words and not self.deaf:
            self.live = [self._set(line, code, words) for line in self.live]
        return Answer(command, tuple(said), "", ())

    def _set(self, line: str, code: str, words: str) -> str:
        if line.split(maxsplit=1)[0] != code:
            return line
        for letter, value in re.findall(r"([A-Z])(-?[\d.]+)", words):
            digits = len(re.search(rf" {letter}-?\d+\.?(\d*)", line)[1])  # type: ignore[index]
            line = re.sub(rf" {letter}[-\d.]+", f" {letter}{float(value):.{digits}f}", line)
        return line

    def notices(self) -> list[Notice]:
        return []

    def limit(self, *_: Any) -> None: ...

    def is_lost(self) -> bool:
        return False

    def stop(self) -> None: ...

    def close(self) -> None: ...


@dataclass
class Person:
    """Agrees to everything but what is in `no`; remembers questions."""

    no: set[str] = field(default_factory=set)
    asked: list[Ask] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    def tell(self, text: str) -> None:
        self.told.append(text)

    def confirm(self, ask: Ask) -> bool:
        self.asked.append(ask)
        return ask.key not in self.no

    def number(self, ask: Ask) -> Typed:
        return Typed(ask.details["target_mm"], "")

    def choose(self, ask: Ask) -> str:
        raise AssertionError(ask)

    def progress(self, *_: Any) -> None: ...


Sit = Callable[..., Any]


@pytest.fixture
def sit(tmp_path: Path) -> Sit:
    """A bench at a board, in the same home each time."""

    @contextmanager
    def open_bench(
        board: Board, person: Person | None = None, **described: Any
    ) -> Iterator[tuple[Bench, Person]]:
        someone = person or Person()

        def connect(description: MachineDescription, **_: Any) -> Machine:
            board.facts = LineFacts("socket://127.0.0.1:1", None, str(log), False)
            return Machine(board, description, pause=lambda _: None)  # type: ignore[arg-type]

        log = tmp_path / "wire.log"
        log.touch()
        with Bench(
            tmp_path,
            someone,  # type: ignore[arg-type]
            holder="a test",
            machine="dial press",
            address="socket://127.0.0.1:1",
            open_machine=connect,
        ) as bench:
            bench.describe_machine({"name": "dial press", **described})
            yield bench, someone

    return open_bench


def delta() -> dict[str, Any]:
    return {"drive": "delta", "bed_shape": "round", "travel_mm": [200, 200, 200]}


def test_arms_are_sent_with_their_letters_only_and_everything_else_is_compared(sit: Sit) -> None:
    board = Board(list(DELTA))
    with sit(board, **delta()) as (bench, person):
        found = bench.found()
        assert found["delta"]["L"] == 215.3 and found["delta"]["tower_Y"] == -0.2
        told = bench.set({"L": 216.05, "R": 105.61}, from_findings=False, store=True)
        assert told["sent"] == ["M665 L216.05 R105.61"]
        assert told["verified"] and told["stored"], told["reason"]
        assert any("set its height" in c for c in person.asked[-1].cautions)
        assert any("set its height" in w for w in told["warnings"])
        undone = bench.undo()
        assert undone["verified"] and any("height" in w for w in undone["warnings"])
    assert board.live == list(DELTA)


def test_a_touched_letter_that_nobody_set_is_told(sit: Sit) -> None:
    class Rounding(Board):
        def _set(self, line: str, code: str, words: str) -> str:
            return super()._set(line, code, words).replace("H241.200", "H241.000")

    with sit(Rounding(list(DELTA)), **delta()) as (bench, _):
        told = bench.set({"L": 216.0}, from_findings=False, store=False)
    assert told["verified"] is False and "M665 H" in told["reason"]


def test_arms_and_trims_come_back_line_by_line(sit: Sit) -> None:
    board = Board(list(DELTA))
    with sit(board, **delta()) as (bench, _):
        kept = bench.found()["kept"]
        board.live = [
            x.replace("R105.4", "R106.4").replace("X-0.12", "X0.5").replace("bench", "shop")
            for x in DELTA
        ]
        told = bench.restore(kept, everything=True)
    assert told["sent"] == [DELTA[1], DELTA[2], DELTA[3]]
    assert any("set its height" in w for w in told["warnings"])


def test_nothing_moves_on_changed_arms_until_the_height_is_set(sit: Sit) -> None:
    board, traverse = Board(list(DELTA)), {"along": "Z", "start_mm": 20.0, "span_mm": 100.0}
    with sit(board, **delta()) as (bench, _):
        bench.set({"L": 216.05}, from_findings=False, store=False)
    board.live = list(DELTA)  # a reset loses the value, not the doubt
    with sit(board, Person(no={"height.again"}), **delta()) as (bench, person):
        sent = len(board.sent)
        for trial, options in (("traverse", traverse), ("span", {})):
            with pytest.raises(RefusedError, match="nothing moves"):
                bench.trial(trial, options)
        assert person.asked[-1].only_in_person
        assert not any(x.startswith(("G1", "G28")) for x in board.sent[sent:])
        bench.event("height", "levelled")
        with pytest.raises(MachineError, match="says it is at"):  # this board never moves
            bench.trial("traverse", traverse)
        assert "height.again" not in [a.key for a in person.asked[2:]]
        assert "G28" in board.sent


def test_in_one_session_the_controller_wants_it_homed_again() -> None:
    board = Board(list(DELTA))
    machine = Machine(board, MachineDescription("dial press", **delta()), pause=lambda _: None)  # type: ignore[arg-type]
    machine.home()
    machine.set_values({"L": 216.0})
    for again in (
        lambda: machine.send_raw_settings(["M666 X0.1"]),
        lambda: machine.reload_stored(discard_unstored=True),
    ):
        with pytest.raises(RefusedError, match="not homed"):
            machine.move(z_mm=50.0)
        machine.home()
        again()
    with pytest.raises(RefusedError, match="not homed"):
        machine.move(z_mm=50.0)


@pytest.mark.parametrize("wrong", [{"L": 100.0}, {"R": 215.3}, {"L": -1.0}, {"L": 104.0, "R": 105}])
def test_arms_that_cannot_be_send_nothing(sit: Sit, wrong: dict[str, float]) -> None:
    board = Board(list(DELTA))
    with sit(board, **delta()) as (bench, _):
        bench.found()
        with pytest.raises(InputError):
            bench.set(wrong, from_findings=False, store=False)
    assert not any(x.startswith("M665") for x in board.sent)


IN_FILE = {"X": 80.0, "Y": 80.0, "Z": 400.0, "E": 139.7}
TURN = {"X": 3200.0, "E": 3200.0}


def file_board(*keys: str) -> Board:
    return Board([], [], knows=frozenset({"M503"} if keys else set()), keys=keys)


def test_steps_in_a_file_are_handed_over_as_steps_and_as_travel(sit: Sit) -> None:
    board = file_board("arm.travel = 40.0  # per turn", "drive.current 0.8")
    with sit(board, steps_per_turn=TURN) as (bench, person):
        found = bench.found()
        assert not found["complete"] and "file on its board" in found["reason"]
        assert found["steps_per_mm"] == {"X": None, "Y": None, "Z": None, "E": None}
        with pytest.raises(MachineError, match="does not tell its steps"):
            bench.set({"X": 79.6}, from_findings=False, store=True)
        bench.found_from_steps(IN_FILE)
        told = bench.set({"X": 79.6, "Y": 80.4}, from_findings=False, store=True)
        # Travel = full steps · microsteps · gear / steps per mm: 3200/79.6.
        assert told["by_hand"] == [
            "X in steps per mm: 79.6 instead of 80 (times 0.995000)",
            "X in mm per motor turn: 40.201005 instead of 40 (times 1.005025)",
            "Y in steps per mm: 80.4 instead of 80 (times 1.005000)",
            "Y in mm per motor turn: what stands there (times 0.995025)",
        ]
        assert (told["handed_over"], told["verified"], told["sent"]) == (True, None, [])
        assert "file on its board" in told["reason"]
        with pytest.raises(RefusedError, match="not known"):
            bench.trial("feed", {"temperature_c": 205.0})
        bench.found_from_steps({**IN_FILE, "X": 79.6, "Y": 80.4})
        assert any("by your word" in text for text in person.told)
        power = bench.prove(power_cycled=True)
        assert power["survived_power_cycle"] is None and power["handed_over"]
    assert not any(x.startswith("M92 ") for x in board.sent)


SPAN = "direction,faces,nominal_mm,reading_mm,place\n"


def piece(x: float, y: float) -> str:
    """Readings of the usual piece with these scales and 0.1 mm of growth, scatter 0.01 mm."""
    rows = []
    for number, each in enumerate(SpanPiece().places()):
        if each.direction in ("X", "Y"):
            scale = x if each.direction == "X" else y
            sign = {"outside": 1, "inside": -1, "same": 0}[each.faces]
            real = each.nominal_mm * (1 + scale) + 0.1 * sign
            rows += [
                f"{each.direction},{each.faces},{each.nominal_mm},{real + off:.2f},{each.label}"
                for off in ((0.01, -0.01, 0.0) if number % 2 else (-0.01, 0.0, 0.01))
            ]
    return SPAN + "\n".join(rows) + "\n"


@pytest.mark.parametrize("at_the_line", [True, False])
def test_a_second_piece_ends_the_waiting_of_typed_steps(
    sit: Sit, tmp_path: Path, at_the_line: bool
) -> None:
    if at_the_line:
        open_bench = lambda: sit(file_board("arm.travel = 40.0"))  # noqa: E731
    else:
        open_bench = lambda: on_paper(tmp_path)  # noqa: E731
    with open_bench() as (bench, _):
        bench.found_from_steps(IN_FILE)
        trial = bench.trial("span", {"readings": (piece(0.005, 0.005), "one.csv")})
        assert {p["verdict"] for p in trial["result"]["proposals"] if p["axis"] in ("X", "Y")} == {
            "adjust"
        }
        told = bench.set(from_findings=True, store=False)
        assert told["handed_over"]
        wrong = bench.prove(readings=(piece(0.005, 0.005), "two.csv"))
        assert wrong["verified"] is False and wrong["handed_over"] is True
        right = bench.prove(readings=(piece(0.0, 0.0), "three.csv"))
        assert right["verified"] is True, right["reason"]
        assert right["handed_over"] is False
        assert any("your word" in warning for warning in wrong["warnings"])
        change = bench.record(close=False)["changes"][0]
        assert change["state"] == "read_back" and change["stands"]


@contextmanager
def on_paper(home: Path) -> Iterator[tuple[Bench, Person]]:
    person = Person()
    with Bench(home, person, holder="a test") as bench:  # type: ignore[arg-type]
        yield bench, person


def test_an_extruders_steps_are_proved_by_a_feed_and_by_no_piece(tmp_path: Path) -> None:
    def feed(ratio: float) -> str:
        rows = (f"120,{120 - 100 * ratio + off:.2f},100" for off in (0.1, -0.1, 0.05, 0.0))
        return "marked_mm,remaining_mm,commanded_mm\n" + "\n".join(rows) + "\n"

    detached = {"detached": True}
    with on_paper(tmp_path) as (bench, _):
        bench.found_from_steps(IN_FILE)
        bench.trial("span", {"readings": (piece(0.0, 0.0), "one.csv")})
        bench.trial("feed", {**detached, "readings": (feed(1.05), "feed.csv")})
        assert bench.set(from_findings=True, store=False)["handed_over"]
        assert bench.prove(readings=(piece(0.0, 0.0), "two.csv"))["handed_over"] is True
        bench.found_from_steps({**IN_FILE, "E": 139.7 / 1.05})
        bench.trial("feed", {**detached, "readings": (feed(1.0), "again.csv")})
        assert bench.prove(readings=(piece(0.0, 0.0), "three.csv"))["handed_over"] is False


DUMP = "# in force\nalpha.travel = 40.0 # per turn\nbeta.radius 105.2\n; answer to M92\n"
STEPS = "X: {}, Y: 80.000, Z: 400.000, E: 139.700\n"


def test_a_pasted_dump_waits_for_report_and_piece(tmp_path: Path) -> None:
    with on_paper(tmp_path) as (bench, person):
        found = bench.found_from_report(DUMP + STEPS.format("80.000"), "paste")
        assert found["complete"] and found["steps_per_mm"]["X"] == 80.0
        trial = bench.trial("span", {"readings": (piece(0.005, 0.0), "one.csv")})
        assert trial["outcome"] == "done"
        told = bench.set(from_findings=True, store=False)
        assert told["by_hand"][0].startswith("M92 X79.6")
        assert told["by_hand"][1].startswith("X in steps per mm: 79.6")
        assert bench.prove(readings=(piece(0.0, 0.0), "two.csv"))["handed_over"] is True
        held = told["by_hand"][0].split()[1][1:]
        bench.found_from_report(DUMP.replace("40.0 ", "40.2 ") + STEPS.format(held), "again")
        assert "in force" in person.told[-1]
        again = bench.prove(readings=(piece(0.0, 0.0), "three.csv"))
        assert (again["verified"], again["handed_over"]) == (True, False)
        back = bench.restore(found["kept"], everything=True)
        assert back["handed_over"] and "alpha.travel = 40.0" in back["by_hand"]
        assert not any("beta" in line for line in back["by_hand"])


def test_storage_that_is_missing_leaves_lines_for_the_file(sit: Sit) -> None:
    board = Board(["M92 X80.00 Y80.00 Z400.00 E93.00"], knows=frozenset({"M92", "M503"}))
    with sit(board) as (bench, person):
        told = bench.set({"X": 79.6}, from_findings=False, store=True)
        assert (told["verified"], told["stored"], told["handed_over"]) == (True, False, True)
        assert "did not store" in told["reason"] and "power goes off" in told["reason"]
        assert told["by_hand"][0] == "X in steps per mm: 79.6 instead of 80 (times 0.995000)"
        bench.found()  # in force it is, which says nothing of what the file holds
        board.live = list(board.stored)  # power off and on: the old value
        assert bench.prove(power_cycled=True)["handed_over"] is True
        assert "entered by hand is in force" not in " ".join(person.told)
        bench.trial("span", {"readings": (piece(0.005, 0.0), "one.csv")})
        same = bench.prove(readings=(piece(0.005, 0.0), "two.csv"))
        assert same["verified"] is True and same["warnings"] == [], same["reason"]


def test_a_machine_that_takes_no_steps_and_says_nothing_is_not_believed(sit: Sit) -> None:
    board = Board(["M92 X80.00 Y80.00 Z400.00 E93.00"], deaf=True)
    with sit(board) as (bench, _):
        told = bench.set({"X": 79.6}, from_findings=False, store=True)
    assert (told["verified"], told["stored"], told["handed_over"]) == (False, None, True)
    assert "79.6, now 80" in told["reason"] and "configuration file" in told["reason"]
