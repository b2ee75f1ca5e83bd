"""A server that is killed in mid trial and started again: nothing lost, nothing done twice."""

from __future__ import annotations

import json
import signal
import socket
import threading
import time
from urllib.parse import quote

import httpx2
import pytest

from asleft.practice.hands import Hands

from .conftest import Visitor, wait_for

NAME = "carriage-clock"
MACHINE = f"/m/{quote(NAME)}"


@pytest.fixture
def hands(request):
    with Hands(7, "cartesian", getattr(request, "param", 2000.0)) as machine:
        yield machine


@pytest.fixture
def port():
    """A free port, so that the page has the same address again after it was killed."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return str(probe.getsockname()[1])


def begun(serve, hands, port, **wishes) -> tuple:
    """A described machine, kept as found, with a feed begun."""
    served = serve("open", "--page-port", port)
    visitor = Visitor(served.address).get("/")
    visitor.press("/machine", name=NAME, address=hands.address)
    visitor.press("/do/found")
    wait_for(lambda: "On to this evening" in visitor.get(f"{MACHINE}/now").text)
    visitor.get(f"{MACHINE}/evening")
    visitor.press("/do/evening", trials="feed", temperature_c="205")
    wait_for(lambda: at_step(visitor))
    return served, visitor


def at_step(visitor: Visitor) -> str | None:
    visitor.get(f"{MACHINE}/now")
    assert "/do/go-on" not in visitor.html, visitor.text
    return visitor.step()


def do(hands, step: str) -> dict:
    """What a person's hands do for a step, and what they then say."""
    if step.endswith(".mark"):
        hands.ask("mark", marked_mm=120.0)
    if step.endswith(".remaining"):
        return {"value": hands.ask("measure_remaining")["text"]}
    return {"answer": "yes"}


def post(address: str, token: str, step: str, said: dict) -> httpx2.Response:
    body = {"token": token, "step": step, **said}
    return httpx2.post(f"{address}{MACHINE[1:]}/answer", data=body, timeout=30)


def test_killed_at_a_step_the_answer_still_counts_once(serve, hands, port):
    """The browser posts what was typed to the server that came back: it goes on from there."""
    served, visitor = begun(serve, hands, port)
    token = visitor.token
    killed = 0
    while not (step := wait_for(lambda: at_step(visitor))).endswith(".3.mark"):
        said = do(hands, step)
        if step.endswith((".1.mark", ".1.remaining", ".2.remaining")):
            served.kill()
            served = serve("open", "--page-port", port)
            killed += 1
        for _ in range(2):  # a second press of an impatient finger changes nothing
            assert post(served.address, token, step, said).status_code == 303
    assert killed == 3
    document = json.loads(visitor.client.get(f"{MACHINE}/record.json").content)
    feeds = [trial for trial in document["trials"] if trial["kind"] == "feed"]
    assert len(feeds) == 1
    keys = [reading["key"] for reading in feeds[0]["readings"]]
    assert keys == ["feed.1.remaining", "feed.2.remaining"]
    assert all(reading["taken_back"] is None for reading in feeds[0]["readings"])


def test_two_tabs_and_a_phone_press_at_once(serve, hands, port):
    """Many forms with the same answer arrive together: the step is done once."""
    from concurrent.futures import ThreadPoolExecutor

    served, visitor = begun(serve, hands, port)
    token = visitor.token
    while not (step := wait_for(lambda: at_step(visitor))).endswith("1.remaining"):
        post(served.address, token, step, do(hands, step))
    said = do(hands, step)
    with ThreadPoolExecutor(6) as pool:
        replies = list(pool.map(lambda _: post(served.address, token, step, said), range(24)))
    assert sum("stale" not in reply.headers["location"] for reply in replies) == 1
    document = json.loads(visitor.client.get(f"{MACHINE}/record.json").content)
    assert len(document["trials"][-1]["readings"]) == 1


@pytest.mark.parametrize("hands", [10.0], indirect=True)
def test_stop_in_a_heat_wait_and_on_again(serve, hands, port):
    """On the wire within 100 ms of reaching the server; going on is one press."""
    served, visitor = begun(serve, hands, port)
    step = wait_for(lambda: at_step(visitor))
    post(served.address, visitor.token, step, do(hands, step))
    wait_for(lambda: hands.ask("peek_heaters")["on"])
    wait_for(lambda: "eating" in visitor.get(f"{MACHINE}/now").text)
    stopping = threading.Thread(target=visitor.press, args=("/stop",))
    pressed_s = time.monotonic()
    stopping.start()
    wait_for(lambda: not hands.ask("peek_heaters")["on"])
    took_s = time.monotonic() - pressed_s
    stopping.join()
    # 100 ms from the server to the wire; twice that for the form's way and the look at the machine.
    assert took_s < 0.3, took_s
    assert "Stopped" in visitor.get(f"{MACHINE}/now").text
    visitor.press("/do/go-on")
    wait_for(lambda: hands.ask("peek_heaters")["on"])
    assert served.end() == 130
    assert not hands.ask("peek_heaters")["on"]


def test_an_open_page_does_not_hold_the_end_up_nor_show_our_insides(serve):
    served = serve("open", "--page-port", "0")
    with httpx2.stream("GET", f"{served.address}live", timeout=10) as page:
        events = page.iter_text()
        assert "retry" in next(events)
        assert served.end(signal.SIGINT) == 130
    told = served.errors.read_text()
    assert "Traceback" not in told and "Cancel" not in told  # it was not cut off, it let go
