"""Numbers, checksums, line ends: against worked examples and against any bytes at all."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.errors import InputError
from asleft.link.framing import (
    MAX_HEARD_BYTES,
    MAX_SENT_BYTES,
    LineSplitter,
    checksum,
    numbered_line,
    plain_line,
)


def test_checksum_by_hand() -> None:
    # 'N' 4E ^ '3' 33 ^ ' ' 20 ^ 'T' 54 ^ '0' 30 = 39 hex = 57, worked by hand.
    assert checksum(b"N3 T0") == 57
    assert numbered_line(3, "T0") == b"N3 T0*57\n"


@pytest.mark.parametrize("bad", ["", "  ", "M105\nM112", "M117 é", "M117 a*b", "M105\r", "M\x00"])
def test_what_is_no_line_is_refused(bad: str) -> None:
    with pytest.raises(InputError):
        plain_line(bad)


def test_length_counts_number_and_checksum() -> None:
    assert len(numbered_line(58, "M117 " + "a" * 80)) <= MAX_SENT_BYTES
    with pytest.raises(InputError, match="96"):
        numbered_line(123456, "M117 " + "a" * 90)


@given(st.lists(st.text(st.characters(codec="ascii", exclude_categories=["C"]), min_size=1)))
def test_any_line_end_and_any_cut(texts: list[str]) -> None:
    wanted = [t.strip() for t in texts if t.strip()]
    for end in ("\n", "\r\n", "\r"):
        data = "".join(t + end for t in texts).encode()
        for step in (1, 3, max(1, len(data))):
            splitter = LineSplitter()
            pieces = (data[i : i + step] for i in range(0, len(data), step))
            assert [line for piece in pieces for line in splitter.feed(piece)] == wanted


@given(st.lists(st.binary(max_size=200), max_size=20))
def test_noise_never_raises(chunks: list[bytes]) -> None:
    splitter = LineSplitter()
    for chunk in chunks:
        for line in splitter.feed(chunk):
            assert line and "\n" not in line


def test_a_line_without_end_is_bounded_and_its_tail_dropped() -> None:
    splitter = LineSplitter()
    lines = [line for _ in range(100) for line in splitter.feed(b"\xff" * 1000)]
    lines += splitter.feed(b"\x80 tail\nok\n")
    assert [len(line) for line in lines[:-1]] == [MAX_HEARD_BYTES]
    assert lines[-1] == "ok"
