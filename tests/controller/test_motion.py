"""Moves and feeds against a scripted line: inside, homed, hot, short, and noticed when refused."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from asleft.errors import InputError, MachineError, RefusedError, Stopped

Make = Callable[..., Any]
InTurn = Callable[..., Callable[[str], list[str]]]


def test_a_stop_between_two_pieces_ends_the_feed(bench: Make) -> None:
    on = bench(nozzle={"at_c": 210.0, "target_c": 210.0})
    with pytest.raises(Stopped):
        on.machine.feed(100.0, 100.0, progress=lambda *_: on.machine.stop())
    assert sum(c.startswith("G1") for c in on.line.sent) == 1


def test_a_stop_before_the_feed_ends_it(bench: Make) -> None:
    on = bench(nozzle={"at_c": 210.0, "target_c": 210.0})
    with pytest.raises(Stopped), on.machine.neutral_feed():
        on.machine.stop()
        on.machine.feed(10.0, 50.0)
    assert not any(c.startswith("G1") for c in on.line.sent)
    on.machine.feed(10.0, 50.0)  # it was told once; whoever goes on knows


def test_feeding_goes_in_short_pieces_that_add_up(bench: Make) -> None:
    on = bench(nozzle={"at_c": 210.0, "target_c": 210.0})
    on.machine.feed(100.0, 70.0)
    moves = [c for c in on.line.sent if c.startswith("G1")]
    lengths = [float(c.split()[1][1:]) for c in moves]
    assert sum(lengths) == pytest.approx(100.0, abs=1e-9)
    assert max(lengths) / 70.0 * 60.0 <= 2.0
    assert [c for c in on.line.sent if c == "M400"] == ["M400"] * len(moves)
    assert on.line.sent.index("M83") < on.line.sent.index(moves[0])


def test_cold_or_impossible_feeds_move_nothing(bench: Make) -> None:
    on = bench(nozzle={"at_c": 25.0})
    with pytest.raises(RefusedError, match="too cold"):
        on.machine.feed(10.0, 50.0)
    for length, rate in ((0.0, 50.0), (-5.0, 50.0), (10.0, 301.0), (1e6, 50.0), (10.0, 0.0)):
        with pytest.raises(InputError):
            on.machine.feed(length, rate)
    assert not any(c.startswith("G1") for c in on.line.sent)


@pytest.mark.parametrize("wording", ["echo: cold extrusion prevented", "echo:Cold extrusion!"])
def test_a_refused_feed_is_noticed_though_ok_came(bench: Make, wording: str) -> None:
    hot = {"at_c": 210.0, "target_c": 210.0}
    on = bench({"G1": [wording, "ok"]}, nozzle=hot)
    with pytest.raises(MachineError, match=r"[Cc]old"):
        on.machine.feed(10.0, 50.0)


def _moving(line_state: dict[str, float]) -> dict[str, object]:
    def go(command: str) -> list[str]:
        for word in command.split()[1:]:
            if word[0] in line_state:
                line_state[word[0]] = float(word[1:])
        return ["ok"]

    def where(_: str) -> list[str]:
        return [" ".join(f"{a}:{mm:.2f}" for a, mm in line_state.items()) + " Count X:1 Y:2 Z:3"]

    return {"G1": go, "M114": where}


def test_moves_only_when_homed_and_inside(bench: Make) -> None:
    at = {"X": 0.0, "Y": 0.0, "Z": 5.0}
    on = bench(_moving(at))
    with pytest.raises(RefusedError, match="homed"):
        on.machine.move(x_mm=10.0)
    on.machine.home()
    for place in ({"x_mm": -0.1}, {"x_mm": 220.5}, {"z_mm": 221.0}, {"y_mm": float("nan")}):
        with pytest.raises(RefusedError, match="travel"):
            on.machine.move(**place)
    assert not any(c.startswith("G1") for c in on.line.sent)
    on.machine.move(x_mm=200.0, y_mm=100.0, rate_mm_min=1500.0)
    assert (at["X"], at["Y"]) == (200.0, 100.0)
    assert sum(c.startswith("G1") for c in on.line.sent) == 5  # 223.6 mm at 25 mm/s, 2 s each
    on.machine.make_safe()
    with pytest.raises(RefusedError, match="homed"):
        on.machine.move(x_mm=10.0)


def test_a_move_that_did_not_arrive_is_told(bench: Make) -> None:
    replies = {"M114": ["X:0.00 Y:0.00 Z:5.00 E:0.00 Count X:0"]}
    on = bench(replies)
    on.machine.home()
    with pytest.raises(MachineError, match="says it is at"):
        on.machine.move(x_mm=10.0)
