"""Requests and replies over one socket, also where a wait must be cut into pieces."""

from __future__ import annotations

import json
import math
import socket
import threading
import time
from collections.abc import Iterator

import pytest

from asleft.controller import owner_channel
from asleft.controller.owner_channel import Channel
from asleft.errors import LineError, MachineError


@pytest.fixture(params=[math.inf, 0.01], ids=["in one wait", "in pieces"])
def ends(request, monkeypatch) -> Iterator[tuple[Channel, socket.socket]]:
    """A channel and the owner's end of it."""
    monkeypatch.setattr(owner_channel, "LONGEST_DEAF_WAIT_S", request.param)
    ours, theirs = socket.socketpair()
    with ours, theirs:
        yield Channel(ours), theirs


def say(theirs: socket.socket, after_s: float, **reply: object) -> threading.Timer:
    """Have the owner reply after a while."""
    timer = threading.Timer(after_s, theirs.sendall, [json.dumps(reply).encode() + b"\n"])
    timer.start()
    return timer


def test_a_late_answer_is_awaited_and_an_earlier_ones_is_passed_over(ends):
    channel, theirs = ends
    say(theirs, 0.0, id=0, result="of another question").join()
    timer = say(theirs, 0.1, id=1, result="ok")
    assert channel.ask("exchange", patience_s=5.0) == "ok"
    timer.join()


def test_patience_ends_whatever_the_pieces(ends):
    channel, _ = ends
    began_s = time.monotonic()
    with pytest.raises(LineError, match=r"within 0\.2 s"):
        channel.ask("exchange", patience_s=0.2)
    assert 0.15 < time.monotonic() - began_s < 2.0


def test_errors_of_the_owner_are_raised_here(ends):
    channel, theirs = ends
    told = {"type": "MachineError", "message": "too hot", "hint": None, "where": None}
    say(theirs, 0.0, id=1, error=told).join()
    with pytest.raises(MachineError, match="too hot"):
        channel.ask("exchange")


def test_an_owner_that_is_gone_is_told(ends):
    channel, theirs = ends
    theirs.close()
    with pytest.raises(LineError, match="gone"):
        channel.ask("exchange")
