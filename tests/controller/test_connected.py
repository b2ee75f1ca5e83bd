"""The whole way: a machine through the process that owns its line, on the practice machine."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from asleft.controller import Machine, MachineDescription, connect, difference, restore_lines
from asleft.errors import LineError, MachineError, RefusedError, Stopped
from asleft.link import read_wire_log
from asleft.practice.hands import Hands

SPEED = 300.0


@pytest.fixture
def hands() -> Iterator[Hands]:
    with Hands(1, speed=SPEED) as there:
        yield there


@pytest.fixture
def machine(hands: Hands, tmp_path: Path) -> Iterator[Machine]:
    described = MachineDescription("practice bench", address=hands.address)
    with connect(described, home=tmp_path, holder="a test", pause=brief) as connected:
        yield connected


def brief(wanted_s: float) -> None:
    """Pauses by the practice machine's clock."""
    time.sleep(wanted_s / 20)


def sent(machine: Machine) -> list[str]:
    chunks = read_wire_log(Path(machine.facts.wire_log))
    return [c.data.decode("ascii") for c in chunks if c.direction == ">"]


def test_as_found_changed_restored_line_by_line(machine: Machine, hands: Hands) -> None:
    assert machine.identify().fingerprint is not None and machine.storage == "yes"
    found = machine.read_settings()
    assert found.complete and found.skew == {"XY": 0.0, "XZ": 0.0, "YZ": 0.0}
    steps = found.steps_per_mm
    assert steps["X"] is not None
    machine.set_values({"X": steps["X"] * 1.004, "XY": 0.0012})
    machine.send_raw_settings(["M145 H190 B50 F10"])
    changed = machine.read_settings()
    letters = {(d.code, d.letter) for d in difference(found, changed)}
    assert letters == {("M92", "X"), ("M852", "I"), *(("M145", x) for x in "HBF")}
    machine.send_raw_settings(restore_lines(found, changed, everything=True))
    assert machine.read_settings().raw.splitlines() == found.raw.splitlines()


def test_stored_survives_and_unstored_does_not(machine: Machine, hands: Hands) -> None:
    found = machine.read_settings()
    machine.set_values({"E": 95.5})
    assert machine.store() is True
    machine.set_values({"Y": 81.5})
    machine.home()
    hands.ask("power_cycle")
    assert machine.restarted(within_s=10.0)
    assert not machine.restarted(within_s=0.0)
    assert machine.homed == frozenset()
    after = machine.read_settings()
    assert after.steps_per_mm["E"] == 95.5
    assert after.steps_per_mm["Y"] == found.steps_per_mm["Y"]


def test_hot_feed_and_cold_afterwards(machine: Machine, hands: Hands) -> None:
    with pytest.raises(RefusedError, match="too cold"):
        machine.feed(10.0, 60.0)
    machine.heat(0, 210.0)
    assert abs(machine.temperatures()["T0"].actual_c - 210.0) <= 3.0
    hands.ask("mark", marked_mm=120.0)
    with machine.neutral_feed():
        machine.feed(100.0, 100.0)
    left_mm = float(hands.ask("measure_remaining")["text"])
    assert 5.0 < left_mm < 40.0  # 120 less 100, with a hidden error of up to 7 %
    machine.heat_off()
    assert hands.ask("peek_heaters")["on"] is False


def test_overrides_are_read_and_put_back(machine: Machine) -> None:
    line = machine._asker.line
    for command in ("M220 S80", "M221 S95", "M200 S1 D1.75"):
        line.exchange(command, within_s=5.0)
    machine.read_settings()
    with machine.neutral_feed() as found:
        assert not found.warnings
        assert line.exchange("M221", within_s=5.0).lines == ("echo:M221 S100",)
        assert "M200 S0" in " ".join(line.exchange("M200", within_s=5.0).lines)
    assert line.exchange("M220", within_s=5.0).lines == ("echo:M220 S80",)
    assert line.exchange("M221", within_s=5.0).lines == ("echo:M221 S95",)
    assert "S1" in " ".join(line.exchange("M200", within_s=5.0).lines)


def test_detached_feed_needs_no_heat_and_leaves_the_guard_on(machine: Machine) -> None:
    line = machine._asker.line
    with machine.neutral_feed(detached=True):
        machine.feed(5.0, 60.0)
    assert line.exchange("M302", within_s=5.0).lines == ("echo:M302 P0 S170",)
    refused = line.exchange("G1 E1 F60", within_s=5.0)
    assert "cold extrusion" in " ".join(refused.lines)


def test_the_machines_own_travel_limit_is_noticed(hands: Hands, tmp_path: Path) -> None:
    described = MachineDescription("b", address=hands.address, travel_mm=(300.0, 220.0, 220.0))
    with connect(described, home=tmp_path, holder="a test", pause=brief) as machine:
        machine.home()
        machine.move(x_mm=200.0, y_mm=50.0, z_mm=5.0)
        with pytest.raises(MachineError, match="refused"):
            machine.move(x_mm=290.0)


def test_a_stop_from_another_thread_ends_a_feed(machine: Machine, hands: Hands) -> None:
    machine.heat(0, 210.0)
    stopped_s: list[float] = []

    def stop() -> None:
        machine.stop()
        stopped_s.append(time.monotonic())

    stopping = threading.Timer(0.3, stop)
    with pytest.raises(Stopped), machine.neutral_feed():
        machine.feed(1000.0, 100.0, progress=lambda *_: stopping.ident or stopping.start())
    stopping.join()
    assert time.monotonic() - stopped_s[0] < 2.0  # the rest of the feed would take longer
    assert hands.ask("peek_heaters")["on"] is False
    assert 1 <= sum("G1 E" in text for text in sent(machine)) < 250  # of 300


def test_whatever_happens_the_heaters_are_off_afterwards(hands: Hands, tmp_path: Path) -> None:
    described = MachineDescription("b", address=hands.address)
    with (
        pytest.raises(ZeroDivisionError),
        connect(described, home=tmp_path, holder="a test", pause=brief) as machine,
    ):
        machine.heat(0, 200.0)
        raise ZeroDivisionError
    assert hands.ask("peek_heaters")["on"] is False


def test_the_second_program_is_refused_and_told_who_holds_it(
    machine: Machine, hands: Hands, tmp_path: Path
) -> None:
    described = MachineDescription("b", address=hands.address)
    with pytest.raises(LineError, match="a test"):
        connect(described, home=tmp_path, holder="another")
    assert machine.read_settings().complete


def test_disturbed_readings_are_not_believed(machine: Machine, hands: Hands) -> None:
    found = machine.read_settings()
    hands.ask("faults", cut_report=6)
    assert machine.read_settings().raw == found.raw
    hands.ask("faults", garble=3)
    assert machine.read_settings().raw == found.raw


def test_storage_that_lies_shows_in_what_it_gives_back(machine: Machine, hands: Hands) -> None:
    found = machine.read_settings()
    hands.ask("faults", lose_storage=True)
    machine.set_values({"E": 99.5})
    assert machine.store() is True  # so it says
    held = machine.reload_stored(discard_unstored=True)
    assert held.steps_per_mm["E"] == found.steps_per_mm["E"]


def test_a_restart_while_heating_ends_it_cold(machine: Machine, hands: Hands) -> None:
    machine.home()
    told = threading.Timer(0.1, lambda: hands.ask("faults", reset=True))
    told.start()
    with pytest.raises(MachineError):
        machine.heat(0, 250.0)
    told.join()
    assert machine.homed == frozenset()
    assert machine.restarted(within_s=1.0)
    assert hands.ask("peek_heaters")["on"] is False


def test_a_lost_line_says_so_and_leaves_no_heat(hands: Hands, tmp_path: Path) -> None:
    described = MachineDescription("b", address=hands.address)
    with (
        pytest.raises(LineError),
        connect(described, home=tmp_path, holder="a test", pause=brief) as machine,
    ):
        machine.heat(0, 200.0)
        hands.ask("faults", drop=True)
        with machine.neutral_feed():
            machine.feed(10.0, 60.0)
    assert hands.ask("peek_heaters")["on"] is False


def test_a_printing_machine_is_refused(hands: Hands, tmp_path: Path) -> None:
    hands.ask("faults", printing=True)
    described = MachineDescription("b", address=hands.address)
    with pytest.raises(RefusedError, match="is printing"):
        connect(described, home=tmp_path, holder="a test", pause=brief)


def test_what_our_own_crash_left_hot_is_made_cold_before_any_question(
    hands: Hands, tmp_path: Path
) -> None:
    described = MachineDescription("practice bench", address=hands.address)
    with connect(
        described, home=tmp_path, holder="a test", heaters_off_first=True, pause=brief
    ) as machine:
        assert [line.strip() for line in sent(machine)][1:3] == ["M104 S0", "M140 S0"]
