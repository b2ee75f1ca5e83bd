"""The same machine on a real pseudo-terminal (POSIX)."""

from __future__ import annotations

import os
import sys

import pytest

from asleft.practice import Hands

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals there")


def read_until(descriptor: int, ending: bytes) -> bytes:
    data = b""
    while not data.endswith(ending):
        data += os.read(descriptor, 4096)
    return data


def test_a_conversation_on_a_pseudo_terminal_and_a_second_opening():
    with Hands(2, speed=300, pty=True) as hands:
        for _ in range(2):  # a client may go and another come
            terminal = os.open(hands.address, os.O_RDWR | os.O_NOCTTY)
            os.write(terminal, b"M115\n")
            assert read_until(terminal, b"ok\n").startswith(b"BOARD:")
            os.write(terminal, b"M503\r\n")
            report = read_until(terminal, b"ok\n")
            assert b"\r" not in report and b"M92 X80.00" in report
            os.close(terminal)
        terminal = os.open(hands.address, os.O_RDWR | os.O_NOCTTY)
        hands.ask("power_cycle")
        assert read_until(terminal, b")\n").startswith(b"start\n")
        os.close(terminal)
