"""What lies between a command and the motor: neutral meanwhile, then as found."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from asleft.errors import LineError, MachineError, RefusedError, Stopped
from asleft.link.answer import Notice

RESTART = Notice("reset", "start", "2031-05-01T10:00:00.000000Z")

Make = Callable[..., Any]
InTurn = Callable[..., Callable[[str], list[str]]]


def _overrides(state: dict[str, str]) -> Callable[[str], list[str]]:
    def answer(command: str) -> list[str]:
        code, _, word = command.partition(" S")
        if word:
            state[code] = word
            return ["ok"]
        return [f"echo:E0 Flow: {state[code]}%" if code == "M221" else f"FR:{state[code]}%", "ok"]

    return answer


def test_overrides_are_neutral_meanwhile_and_put_back_whatever_happens(
    bench: Make, report_lines: list[str]
) -> None:
    state = {"M220": "80", "M221": "95"}
    report = [*report_lines[:3], "echo:  M200 S1 D1.75", *report_lines[4:]]
    replies = {"M220": _overrides(state), "M221": _overrides(state), "M503": report}
    on = bench(replies)
    with pytest.raises(ZeroDivisionError), on.machine.neutral_feed():
        assert state == {"M220": "100", "M221": "100"}
        assert {"M200 S0", "M83", "G21"} <= set(on.line.sent)
        on.line.sent.clear()
        raise ZeroDivisionError
    assert state == {"M220": "80", "M221": "95"}
    assert "M200 S1 D1.75" in on.line.sent and "M82" in on.line.sent


@pytest.mark.parametrize("form", ["P", "S"])
def test_the_guard_is_off_only_while_detached(bench: Make, form: str) -> None:
    guard = {"P": "0", "S": "170"}

    def answer(command: str) -> list[str]:
        word = command.partition(" ")[2]
        if word and word[0] == form:
            guard[form] = word[1:]
        on = guard["P"] == "0" and guard["S"] != "0"
        told = "disabled" if on else "enabled"
        return [f"echo:Cold extrudes are {told} (min temp {guard['S']}C)"] if not word else ["ok"]

    replies = {"M302": answer, "M220": ["FR:100%"], "M221": ["Flow: 100%"]}
    on = bench(replies, nozzle={"at_c": 22.0})
    with pytest.raises(ZeroDivisionError), on.machine.neutral_feed(detached=True):
        assert guard in ({"P": "1", "S": "170"}, {"P": "0", "S": "0"})
        on.machine.feed(5.0, 50.0)
        raise ZeroDivisionError
    assert guard == {"P": "0", "S": "170"}
    assert any(c.startswith("G1 E") for c in on.line.sent)
    with pytest.raises(RefusedError):
        on.machine.feed(5.0, 50.0)


def test_a_guard_that_does_not_come_back_is_told(bench: Make, in_turn: InTurn) -> None:
    told = in_turn(["M302 P0 S170"], ["ok"], ["M302 P1 S170"])
    on = bench({"M302": told})
    with pytest.raises(MachineError, match="guard"), on.machine.neutral_feed(detached=True):
        pass


def test_what_cannot_be_put_back_is_told_with_the_error(bench: Make) -> None:
    on = bench({"M82": ["Error:no such mode", "ok"]})
    with pytest.raises(Stopped, match=r"stopped by hand.*M82"), on.machine.neutral_feed():
        raise Stopped("stopped by hand")
    with pytest.raises(MachineError, match="M82"), on.machine.neutral_feed():
        pass


def test_a_restart_makes_the_report_be_read_again(bench: Make) -> None:
    on = bench()
    on.machine.read_settings()
    on.line.sent.clear()
    on.machine.set_values({"X": 80.5})
    assert "M503" not in on.line.sent
    on.line.unasked.append(RESTART)
    assert on.machine.restarted(within_s=0.0)
    assert not on.machine.restarted(within_s=0.0)
    on.machine.set_values({"X": 80.5})
    assert "M503" in on.line.sent
    assert [n.text for n in on.machine.notices()] == ["start"]


class Broken:
    """A line that falls silent at the first motion, and counts what it still costs."""

    def __init__(self) -> None:
        self.is_silent = False
        self.tried = 0

    def fall(self, _: str) -> list[str]:
        self.is_silent = True
        return self.answer("")

    def answer(self, _: str) -> list[str]:
        if self.is_silent:
            self.tried += 1
            raise LineError("no answer")
        return ["ok"]


def test_the_first_error_is_the_one_that_is_told(bench: Make) -> None:
    broken = Broken()

    def guard(command: str) -> list[str]:
        broken.answer(command)
        return ["M302 P0 S170"] if command == "M302" and on.line.sent[-2] != "M302 P1" else ["ok"]

    replies = {"M302": guard, "G1": broken.fall, "M82": broken.answer, "M400": broken.answer}
    on = bench(replies)
    with (
        pytest.raises(LineError, match="no answer") as caught,
        on.machine.neutral_feed(detached=True),
    ):
        on.machine.feed(5.0, 50.0)
    assert "guard could not be seen to be on again" in caught.value.message
    assert broken.tried == 3  # the piece, the guard, what was found: no more time-outs than that


def test_a_guard_after_a_restart_is_looked_at(bench: Make) -> None:
    allowed = {"P": "0"}

    def guard(command: str) -> list[str]:
        if command[5:6] == "P":
            allowed["P"] = command[6:]
        return [f"M302 P{allowed['P']} S170"] if command == "M302" else ["ok"]

    on = bench({"M302": guard})
    with pytest.raises(ZeroDivisionError) as caught, on.machine.neutral_feed(detached=True):
        on.line.unasked.append(RESTART)
        raise ZeroDivisionError
    assert allowed["P"] == "0" and not hasattr(caught.value, "__notes__")


def test_a_garbled_word_of_the_guard_is_asked_for_again(bench: Make, in_turn: InTurn) -> None:
    asked = in_turn(
        ["echo:M302 P0 S170"], ["echo:M302 P1 S170"], ["eczo:M3*2"], ["echo:M302 P0 S170"]
    )

    def answer(command: str) -> list[str]:
        return asked(command) if command == "M302" else ["ok"]

    on = bench({"M302": answer, "M220": ["FR:100%"], "M221": ["Flow: 100%"]})
    with on.machine.neutral_feed(detached=True):
        pass
    assert on.line.sent.count("M302 P0") == 2
