"""The wire log loses nothing and can be read back byte by byte."""

from __future__ import annotations

import errno
import os
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from asleft.errors import LineError
from asleft.link import read_wire_log
from asleft.link.wirelog import WireLog, escape


def test_written_at_once_and_read_back(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "wire.log"
    noon = datetime(2026, 3, 4, 12, 0, 0, tzinfo=UTC)
    log = WireLog(path, wall=lambda: noon)
    log.sent(b"N1 M105*38\n")
    log.heard(bytes(range(256)))
    assert path.read_text().splitlines()[0] == "2026-03-04T12:00:00.000000+00:00 > N1 M105*38\\n"
    log.close()
    again = WireLog(path, wall=lambda: noon)  # appended, not begun anew
    again.note("opened")
    again.close()
    chunks = list(read_wire_log(path))
    assert [(c.direction, c.data) for c in chunks] == [
        (">", b"N1 M105*38\n"),
        ("<", bytes(range(256))),
        ("#", b"opened"),
    ]
    assert chunks[0].wall_time == noon


@given(st.binary())
def test_escape_is_one_line_and_reversible(data: bytes) -> None:
    text = escape(data)
    assert "\n" not in text and text.isascii()
    assert text.encode().decode("unicode_escape").encode("latin-1") == data


def test_a_torn_last_line_is_left_out_and_a_torn_middle_is_told(tmp_path: Path) -> None:
    path = tmp_path / "wire.log"
    good = "2026-03-04T12:00:00.000000+00:00 > a\\n\n"
    path.write_text(good + "2026-03-04T12:00")
    assert len(list(read_wire_log(path))) == 1
    path.write_text(good + "nonsense\n" + good)
    with pytest.raises(LineError) as caught:
        list(read_wire_log(path))
    assert "row 2" in (caught.value.where or "")


def test_a_full_disk_costs_lines_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "wire.log"
    told: list[str] = []
    log = WireLog(path, on_gap=told.append)
    log.sent(b"N1 M105*38\n")
    whole, real = path.read_bytes(), os.write
    room = [20]

    def full(file: int, data: bytes) -> int:
        if not room:
            raise OSError(errno.ENOSPC, "no room")
        return real(file, data[: room.pop()])  # what fits is written, as systems do

    with monkeypatch.context() as patch:
        patch.setattr(os, "write", full)
        log.sent(b"N2 M105*37\n")
        log.heard(b"ok\n")
        log.note("something")
    assert told == ["no room"] and log.incomplete == "no room"
    assert path.read_bytes() == whole  # nothing torn
    log.sent(b"M104 S0\n")
    log.close()
    chunks = list(read_wire_log(path))
    assert [c.data for c in chunks[1:]] == [b"3 lines are missing here", b"M104 S0\n"]
