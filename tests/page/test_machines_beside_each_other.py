"""Several machines from one page: each its own session, and the person is led to who asks."""

from __future__ import annotations

import json

import pytest

from .conftest import Visitor, wait_for

NAMES = ("bracket-clock", "carriage-clock")


@pytest.fixture
def visitor(serve):
    served = serve("open", "--page-port", "0")
    visitor = Visitor(served.address)
    for name in NAMES:
        visitor.get("/").press("/machine", name=name)
        visitor.press("/pasted", steps="X=80, Y=80, Z=400, E=93")
    return visitor


def told_live(visitor: Visitor, machine: str) -> dict:
    """The first state that the stream of an open page tells."""
    with visitor.client.stream("GET", f"/m/{machine}/live") as stream:
        for line in stream.iter_lines():
            if line.startswith("data: {"):
                return json.loads(line.removeprefix("data: "))
    raise AssertionError("the stream said nothing")


def test_a_sheet_says_who_needs_the_person_and_one_stop_stops_all(visitor):
    one, other = NAMES
    assert visitor.get("/").text.count("Next: ") == 2
    assert told_live(visitor, other)["elsewhere"] is None
    visitor.get(f"/m/{one}/evening").press("/do/trial")
    wait_for(lambda: visitor.get(f"/m/{one}/now").step())
    assert visitor.get("/").text.count("Next: ") == 1
    assert f"At {one}, span" in visitor.get(f"/m/{other}/now").text
    assert f"At {one}" not in visitor.get(f"/m/{one}/now").text
    assert told_live(visitor, other)["elsewhere"] == f"/m/{one}/now"
    assert told_live(visitor, one)["elsewhere"] is None
    visitor.get(f"/m/{other}/evening").press("/do/trial")
    wait_for(lambda: visitor.get(f"/m/{other}/now").step())
    assert told_live(visitor, other)["elsewhere"] is None  # a question stands here as well
    visitor.get("/").press("/stop")
    for name in NAMES:
        wait_for(lambda name=name: "Stopped" in visitor.get(f"/m/{name}/now").text)
