"""Heating against a scripted line: asked for, bounded, and off on every way out."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from asleft.errors import InputError, MachineError, RefusedError, Stopped

Make = Callable[..., Any]
InTurn = Callable[..., Callable[[str], list[str]]]


def test_heating_asks_and_never_blocks(bench: Make) -> None:
    told: list[float] = []
    on = bench()
    on.machine.heat(0, 210.0, progress=lambda share, _: told.append(share))
    assert {c.split()[0] for c in on.line.sent} == {"M104", "M105"}
    assert on.line.sent[0] == "M104 S210"
    assert told == sorted(told) and told[-1] == 1.0


def test_above_the_limit_nothing_is_sent(bench: Make) -> None:
    on = bench()
    for tool, target in ((0, 261.0), (0, float("nan")), (0, -1.0), (1, 200.0)):
        with pytest.raises((RefusedError, InputError)):
            on.machine.heat(tool, target)
    assert on.line.sent == []


@pytest.mark.parametrize(
    ("nozzle", "why"),
    [({"rise_k": 0.05}, "rose less"), ({"at_c": -15.0, "rise_k": 0.0}, "sensor")],
)
def test_a_heater_that_does_not_heat_is_switched_off(
    bench: Make, nozzle: dict[str, float], why: str
) -> None:
    on = bench(nozzle=nozzle)
    with pytest.raises(MachineError, match=why):
        on.machine.heat(0, 210.0)
    assert on.nozzle.target_c == 0.0
    assert on.nozzle.now_s < 60.0
    assert "M140 S0" in on.line.sent


def test_a_stop_between_two_questions_ends_the_heating(bench: Make) -> None:
    on = bench()
    with pytest.raises(Stopped):
        on.machine.heat(0, 210.0, progress=lambda *_: on.machine.stop())
    assert on.line.stops == 1 and on.nozzle.target_c == 0.0


def test_a_stop_while_the_temperature_is_asked_for_is_no_fault_of_the_heater(bench: Make) -> None:
    """The answer tells of heaters that the stop has switched off already."""
    on = bench()
    ask = on.line.exchange

    def exchange(command: str, *, within_s: float) -> Any:
        if len(on.line.sent) == 4:
            on.machine.stop()
            on.nozzle.target_c = 0.0
        return ask(command, within_s=within_s)

    on.line.exchange = exchange
    with pytest.raises(Stopped):
        on.machine.heat(0, 210.0)


def test_heaters_that_stay_on_are_told_with_the_power_switch(bench: Make) -> None:
    on = bench(nozzle={"target_c": 200.0, "stays_on": True})
    with pytest.raises(MachineError) as caught:
        on.machine.heat_off()
    assert "power switch" in (caught.value.hint or "")


def test_leaving_makes_safe_on_every_way_out(bench: Make) -> None:
    on = bench()
    with pytest.raises(ZeroDivisionError), on.machine:
        on.machine.heat(0, 200.0)
        raise ZeroDivisionError
    assert on.nozzle.target_c == 0.0 and "M84" in on.line.sent and on.line.closed


def test_a_garbled_temperature_is_asked_for_again_and_named_when_it_stays_so(
    bench: Make, in_turn: InTurn
) -> None:
    good = ["ok T:22.0 /0.0 B:21.0 /0.0"]
    on = bench({"M105": in_turn(["ok Q:2x.0"], good)})
    assert on.machine.temperatures()["T0"].actual_c == 22.0
    on = bench({"M105": ["ok Q:2x.0"]})
    with pytest.raises(MachineError, match=r"'Q:2x\.0' to M105"):
        on.machine.temperatures()
