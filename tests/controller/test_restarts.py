"""Restarts: each is told once to whoever goes on, and known to whoever asks."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from asleft.controller import MachineDescription, connect
from asleft.controller.machine import Machine
from asleft.errors import LineError, MachineResetError
from asleft.link.answer import Notice
from asleft.practice import Hands

Make = Callable[..., Any]
RESTART = Notice("reset", "start", "2031-05-01T10:00:00.000000Z")


def test_a_restart_between_two_steps_is_told_instead_of_the_second(bench: Make) -> None:
    on = bench(nozzle={"at_c": 200.0})
    on.machine.position()
    on.line.unasked.append(RESTART)
    before = list(on.line.sent)
    with pytest.raises(MachineResetError, match="since the last step"):
        on.machine.store()
    assert on.line.sent == before
    on.machine.position()  # told once
    assert on.machine.restarts == 1
    assert on.machine.restarted(within_s=0.0)


def test_one_restart_in_mid_question_is_one(bench: Make) -> None:
    def restart(_: str) -> list[str]:
        on.line.unasked.append(RESTART)
        raise MachineResetError("it said start")

    on = bench({"M114": restart})
    with pytest.raises(MachineResetError):
        on.machine.position()
    on.line.replies["M114"] = "ok X:0 Y:0 Z:0"
    assert on.machine.position()
    assert on.machine.restarts == 1
    assert [n.text for n in on.machine.notices()] == ["start"]


def test_making_safe_goes_on_and_lets_the_next_know(bench: Make) -> None:
    on = bench()
    on.line.unasked.append(RESTART)
    on.machine.make_safe()
    assert "M104 S0" in on.line.sent
    with pytest.raises(MachineResetError):
        on.machine.position()


@pytest.fixture
def connected(tmp_path: Path) -> Iterator[tuple[Hands, Machine]]:
    with Hands(11, speed=300) as hands:
        machine = connect(
            MachineDescription("bench clock", address=hands.address), home=tmp_path, holder="test"
        )
        yield hands, machine
        machine.close()


def test_a_power_cycle_is_proved_by_banner_and_report(connected: tuple[Hands, Machine]) -> None:
    hands, machine = connected
    assert not machine.restarted(within_s=0.0)
    hands.ask("power_cycle")
    assert machine.restarted(within_s=5.0) is True
    assert machine.read_settings().complete


@pytest.mark.parametrize(("restarts_on_opening", "seen"), [(True, True), (False, None)])
def test_a_port_that_goes_with_the_power(
    connected: tuple[Hands, Machine], restarts_on_opening: bool, seen: bool | None
) -> None:
    hands, machine = connected
    machine.restarted(within_s=0.0)
    hands.ask("faults", usb_powered=True, restart_on_opening=restarts_on_opening)
    hands.ask("power_cycle")
    assert machine.restarted(within_s=20.0) is seen
    assert machine.restarts == (1 if seen else 0)
    assert machine.read_settings().complete  # whoever asked knows: nothing is raised again


def test_a_port_that_does_not_come_back_is_told(connected: tuple[Hands, Machine]) -> None:
    hands, machine = connected
    hands.close()
    with pytest.raises(LineError, match="did not come back within"):
        machine.restarted(within_s=1.0)
