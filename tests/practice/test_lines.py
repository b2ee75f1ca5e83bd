"""One line taken apart: numbers, checksums, comments, words (common practice, no source)."""

from __future__ import annotations

from functools import reduce

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.practice.words.wire import Command, LineCounter, LineRefusedError, parse


def framed(number: int, body: str) -> bytes:
    text = f"N{number} {body}".encode()
    return text + b"*%d" % reduce(lambda a, b: a ^ b, text)


@given(st.integers(0, 10**6), st.floats(-999, 999).map(lambda v: round(v, 4)))
def test_a_rightly_framed_line_is_taken_and_counted(last, value):
    counter = LineCounter(last)
    text = counter.accept(framed(last + 1, f"M92 X{value:.4f} Y80"))
    command = parse(text)
    assert command is not None and command.code == "M92"
    assert command.words == {"X": pytest.approx(value), "Y": 80.0}
    assert counter.last == last + 1


@given(st.integers(0, 20), st.integers(1, 255))
def test_any_changed_byte_is_refused(at, flip):
    line = bytearray(framed(1, "M92 X80.12 Y80.34"))
    line[at] ^= flip
    counter = LineCounter(0)
    try:
        counter.accept(bytes(line))
    except LineRefusedError:
        assert counter.last == 0
    else:  # what no longer looks like a numbered line has no count to lose
        assert counter.last == 0 and not bytes(line).strip().startswith(b"N")


@pytest.mark.parametrize(
    ("text", "command"),
    [
        ("G1 X1.5Y-2 ; E9", Command("G1", {"X": 1.5, "Y": -2.0}, "G1 X1.5Y-2")),
        ("G1 (X9) X1", Command("G1", {"X": 1.0}, "G1  X1")),
        ("G28 X", Command("G28", {"X": None}, "G28 X")),
        ("M203.1 X1", Command("M203.1", {"X": 1.0}, "M203.1 X1")),
        ("M092 X.5", Command("M92", {"X": 0.5}, "M092 X.5")),
        ("M117 Hello X5", Command("M117", {}, "M117 Hello X5")),
    ],
)
def test_words_comments_and_fractions(text, command):
    assert parse(LineCounter().accept(text.encode())) == command


def test_what_is_no_command_is_none():
    assert [parse(t) for t in ("", "hello", "X5", "$$")] == [None] * 4
