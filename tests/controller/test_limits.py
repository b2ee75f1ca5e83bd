"""Limits of a description, and codes that are the ones which are sent."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from asleft.controller import (
    MachineDescription,
    check_feed,
    check_target,
    check_tool,
    cool_codes,
    feed_codes,
    heat_codes,
)
from asleft.errors import InputError, RefusedError

Make = Callable[..., Any]
TWO = MachineDescription("two", tools=2, max_nozzle_c=230.0, max_feed_rate_mm_min=120.0)
NAN = float("nan")


@pytest.mark.parametrize("tool", [-1, 2])
def test_tools(tool: int) -> None:
    with pytest.raises(InputError, match="has 2") as caught:
        check_tool(tool, TWO)
    assert caught.value.where == "tool"
    check_tool(1, TWO)


@pytest.mark.parametrize(
    ("target_c", "material_c", "error"),
    [(230.5, 300.0, RefusedError), (221.0, 220.0, RefusedError), (0.0, 300.0, InputError)],
)
def test_targets(target_c: float, material_c: float, error: type[Exception]) -> None:
    with pytest.raises(error) as caught:
        check_target(target_c, 0, TWO, material_limit_c=material_c, where="heat.1")
    assert caught.value.where == "heat.1"
    with pytest.raises(InputError):
        check_target(NAN, 0, TWO)
    check_target(min(230.0, material_c), 1, TWO, material_limit_c=material_c)


@pytest.mark.parametrize(
    ("length_mm", "rate_mm_min", "where"),
    [(0.0, 50.0, "length"), (1000.5, 50.0, "length"), (NAN, 50.0, "length"), (10, 121, "rate")],
)
def test_feeds(length_mm: float, rate_mm_min: float, where: str) -> None:
    with pytest.raises(InputError) as caught:
        check_feed(length_mm, rate_mm_min, 0, TWO)
    assert caught.value.where == where
    check_feed(1000.0, 120.0, 1, TWO)


@pytest.mark.parametrize("tools", [1, 2])
def test_what_is_listed_is_what_is_sent(bench: Make, tools: int) -> None:
    on = bench(nozzle={"at_c": 209.0}, tools=tools)
    if tools == 2:
        on.line.replies["M105"] = lambda command: [
            on.nozzle.tell(command)[0].replace("T:", "T0:20.0 /0.0 T1:")
        ]
    tool = tools - 1
    on.machine.heat(tool, 210.0)
    on.machine.feed(20.0, 50.0, tool=tool)
    on.machine.heat_off()
    sent = [code for code in on.line.sent if code != "M105"]
    listed = heat_codes(tool, 210.0, tools) + feed_codes(20.0, 50.0, tool, tools)
    assert sent == listed + cool_codes(tools)
    lengths = [float(c.split()[1][1:]) for c in listed if c.startswith("G1")]
    assert abs(sum(lengths) - 20.0) < 1e-9 and max(lengths) <= 50.0 / 60 * 2 + 1e-5


def test_a_detached_feed_lists_the_guard() -> None:
    codes = feed_codes(1.0, 50.0, 0, 1, detached=True)
    assert (codes[0], codes[-1]) == ("M302 P1", "M302 P0")
    assert codes[1:-1] == feed_codes(1.0, 50.0, 0, 1)


def test_another_description_binds_the_line_too(bench: Make) -> None:
    on = bench()
    on.machine.description = TWO
    assert on.line.limits.max_nozzle_c == 230.0
    assert on.line.safe_lines == ("M104 T0 S0", "M104 T1 S0", "M140 S0")
    with pytest.raises(RefusedError):
        on.machine.heat(0, 240.0)
