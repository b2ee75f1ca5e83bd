"""A piece printed over the line of a practice machine: told, paused, stopped, cut off, refused."""

from __future__ import annotations

import re
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from asleft.bench import Ask, Bench
from asleft.cli.practice_card import card_text
from asleft.controller import MachineDescription, check_file, connect
from asleft.errors import AsleftError, LineError, MachineResetError, RefusedError, Stopped
from asleft.pieces import BeadPiece, FitPiece, PathSettings, SpanPiece, tool_path
from asleft.practice import Hands

SPEED = 300.0
RING = BeadPiece(flats_mm=30.0, widths_mm=(0.65, 0.45), band_mm=4.0)
MACHINE = {"travel_mm": [220, 220, 240], "max_bed_c": 100.0}
DESCRIBED = MachineDescription(name="workbench")


def codes(piece: BeadPiece = RING) -> str:
    known = {
        "travel_mm": [220, 220, 240],
        "nozzle_mm": 0.4,
        "filament_mm": 1.75,
        "bed_shape": "square",
        "max_nozzle_c": 260.0,
        "max_bed_c": 100.0,
    }
    return card_text("bead", piece.to_dict(), known)


class Onlooker:
    """Says yes, and keeps what was told and how far it was; acts at a share of the print."""

    def __init__(self, says: bool = True) -> None:
        self.says, self.told, self.seen = says, [], []
        self.asked: list[Ask] = []
        self.at: dict[float, Any] = {}

    def tell(self, text: str) -> None:
        self.told.append(text)

    def confirm(self, ask: Ask) -> bool:
        self.asked.append(ask)
        return self.says

    def progress(self, what: str, done: float, remaining_s: float | None) -> None:
        self.seen.append((what, done, remaining_s))
        if what == "printing":
            for share in [s for s in self.at if done >= s]:
                self.at.pop(share)()


@pytest.fixture
def hands() -> Iterator[Hands]:
    with Hands(7, speed=SPEED) as machine:
        yield machine


@contextmanager
def at_the_machine(
    hands: Hands, home: Path, person: Onlooker, speed: float = SPEED
) -> Iterator[Bench]:
    """A bench whose seconds run as fast as the practice machine's."""
    opened = partial(
        connect,
        clock=lambda: time.monotonic() * speed,
        pause=lambda seconds: time.sleep(seconds / speed),
    )
    bench = Bench(
        home,
        person,
        holder="a test",
        machine="workbench",
        address=hands.address,
        open_machine=opened,
    )
    with bench:
        bench.describe_machine({"name": "workbench", **MACHINE})
        yield bench


@pytest.fixture
def sit(hands: Hands, tmp_path: Path):
    return partial(at_the_machine, hands, tmp_path)


def cold(hands: Hands) -> bool:
    state = hands.ask("peek_heaters")
    return not state["on"] and not state["moving"]


def test_a_ring_is_printed_over_the_line_and_measured(sit, hands):
    person = Onlooker()
    with sit(person) as bench:
        told = bench.stream(codes())
    assert told["pauses"] == 0 and told["lines"] == sum(
        not line.startswith(";") for line in codes().splitlines()
    )
    assert [ask.key for ask in person.asked] == ["stream.begin"] and person.asked[0].cautions
    heating = [done for what, done, _ in person.seen if what == "heating"]
    printing = [(done, left) for what, done, left in person.seen if what == "printing"]
    assert max(heating) > 0.99 and [done for done, _ in printing] == sorted(d for d, _ in printing)
    assert printing[-1] == (1.0, 0.0) and printing[0][1] > printing[len(printing) // 2][1]
    assert cold(hands)
    sent = [line["text"] for line in hands.ask("peek_received", last=5000)["lines"]]
    assert not any("M109" in text or "M190" in text for text in sent)
    assert all(text.startswith("N") for text in sent if " G1 " in text)
    hands.ask("take_off", piece="bead", parameters=RING.to_dict())
    over = [float(hands.ask("measure_bead", drawn_width_mm=0.65)["text"]) for _ in range(4)]
    hands.ask("print", piece="bead", parameters=RING.to_dict(), text=codes())
    card = [float(hands.ask("measure_bead", drawn_width_mm=0.65)["text"]) for _ in range(4)]
    assert sum(over) / 4 == pytest.approx(sum(card) / 4, abs=0.06)


def test_no_more_than_two_seconds_of_motion_are_sent_ahead(tmp_path):
    """Told by the machine's own time of each line; without the bound sixteen moves wait there."""
    small = codes(BeadPiece(flats_mm=20.0, widths_mm=(0.45,), band_mm=4.0))
    small = small.replace("M140 S55\nM190 S55\n", "")
    with Hands(7, speed=60) as hands:
        with at_the_machine(hands, tmp_path, Onlooker(), 60) as bench:
            bench.stream(small)
        lines = hands.ask("peek_received", last=5000)["lines"]
    came = [line["own_s"] for line in lines if re.match(r"N\d+ G[01] ", line["text"])]
    file = check_file(small, DESCRIBED)
    seconds = [line.seconds for line in file.lines if line.code in ("G0", "G1")]
    assert len(came) == len(seconds)
    standing_s, ahead = came[0], []
    for own_s, takes_s in zip(came, seconds, strict=True):
        ahead.append(max(0.0, standing_s - own_s))  # what is still to be made when it comes
        standing_s = max(standing_s, own_s) + takes_s
    late_s = 0.02 * 60  # a line may come so much later than it was sent
    assert 1.0 < max(ahead) < 2.0 + late_s


def ask_alone(hands: Hands, command: str) -> str:
    """One line to the machine and what it says, with no program of ours between."""
    host, port = hands.address.removeprefix("socket://").split(":")
    with socket.create_connection((host, int(port)), timeout=10) as wire:
        wire.sendall(command.encode() + b"\n")
        said = b""
        while b"ok" not in said:
            said += wire.recv(4096)
    return said.decode()


def test_an_override_is_put_aside_for_the_print_and_put_back(sit, hands):
    ask_alone(hands, "M221 S110")
    with sit(Onlooker()) as bench:
        bench.stream(codes())
    sent = [line["text"] for line in hands.ask("peek_received", last=5000)["lines"]]
    flows = [text.split("*")[0].split(" ", 1)[1] for text in sent if "M221 S" in text]
    assert flows[-2:] == ["M221 S100", "M221 S110"]
    assert "S110" in ask_alone(hands, "M221")


def test_a_pause_stands_above_the_piece_and_goes_on_at_its_rate(sit, hands):
    person, waits = Onlooker(), threading.Event()
    states: list[dict[str, Any]] = []

    def look() -> None:
        states.append(hands.ask("peek_heaters"))
        waits.clear()

    def pause() -> None:
        waits.set()
        threading.Timer(0.5, look).start()

    person.at = {0.3: pause}
    with sit(person) as bench:
        told = bench.stream(codes(), paused=waits.is_set)
    assert told["pauses"] == 1
    assert states[0]["on"] and not states[0]["moving"]
    assert any(text.startswith("Paused") for text in person.told)
    assert cold(hands)
    sent = [line["text"] for line in hands.ask("peek_received", last=5000)["lines"]]
    lifted = next(n for n, text in enumerate(sent) if " F300*" in text)
    back = [text.split(" ", 1)[1] for text in sent[lifted:] if "M105" not in text]
    assert back[1].startswith("G0 Z") and back[2].startswith("G0 F")


def test_a_machine_that_restarts_in_a_pause_does_not_go_on(sit, hands):
    person, waits = Onlooker(), threading.Event()

    def pause() -> None:
        waits.set()
        threading.Timer(0.2, lambda: hands.ask("faults", reset=True)).start()
        threading.Timer(0.6, waits.clear).start()

    person.at = {0.2: pause}
    with sit(person) as bench, pytest.raises(MachineResetError, match="ended at line"):
        bench.stream(codes(), paused=waits.is_set)
    assert cold(hands)


def test_a_stop_goes_ahead_and_the_print_is_not_gone_on_with(sit, hands):
    person = Onlooker()
    with sit(person) as bench:
        person.at = {0.25: bench.stop_now}
        with pytest.raises(Stopped, match=r"ended at line \d+ of \d+ .* not gone on with"):
            bench.stream(codes())
        assert cold(hands)
    assert cold(hands)


def test_a_cable_that_comes_out_ends_it_with_the_truth(sit, hands):
    person = Onlooker()
    with sit(person) as bench:
        person.at = {0.25: lambda: hands.ask("faults", drop=True)}
        with pytest.raises(LineError, match="ended at line") as caught:
            bench.stream(codes())
        assert "begin anew" in (caught.value.hint or "")
    deadline = time.monotonic() + 20
    while not cold(hands):
        assert time.monotonic() < deadline
        time.sleep(0.1)


def test_a_no_sends_nothing(sit, hands):
    with sit(Onlooker(says=False)) as bench, pytest.raises(Stopped, match="nothing was sent"):
        bench.stream(codes())
    sent = [line["text"] for line in hands.ask("peek_received", last=5000)["lines"]]
    assert not any(word in text for text in sent for word in ("G1", "G28", "S205"))


def test_a_file_beyond_the_limits_opens_no_line(sit, hands):
    with sit(Onlooker()) as bench, pytest.raises(RefusedError, match="260"):
        bench.stream(codes().replace("S205", "S275"))
    assert hands.ask("peek_received", last=5000)["lines"] == []


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        ("M106", "M42", "M42 is not known"),
        ("G28\n", "", "before G28"),
        ("G90\n", "", "G90"),
        ("M190 S55", "M190 S120", "too hot for the bed"),
        ("X80.000", "X-1.000", "outside the stated travel"),
        ("X80.000", "X80.000 A1", "A1 does not belong"),
        ("X80.000", "Xabc", "Xabc does not belong"),
        ("M109 S205\n", "", "before the nozzle is hot"),
        ("M104 S0\n", "", "does not switch its heaters off"),
        (" F900\n", "\n", "without a rate"),
    ],
)
def test_what_a_file_may_not_say(old, new, why):
    text = codes()
    assert old in text
    with pytest.raises(AsleftError) as caught:
        check_file(text.replace(old, new, 1), DESCRIBED)
    assert why in caught.value.message + (caught.value.hint or "")


@pytest.mark.parametrize("bed_shape", ["square", "round"])
@pytest.mark.parametrize("relative_feed", [False, True])
def test_every_piece_passes(bed_shape, relative_feed):
    settings = PathSettings(
        nozzle_c=205, bed_c=55, bed_shape=bed_shape, relative_feed=relative_feed
    )
    described = MachineDescription(name="workbench", bed_shape=bed_shape)
    span = SpanPiece(pitch_mm=60.0, column_heights_mm=())
    for piece in (RING, span, FitPiece(wider=1, height_mm=4.0)):
        file = check_file(tool_path(piece, settings).text, described)
        assert file.lines[-1].code == "M84" and 300 < file.seconds < 6000
