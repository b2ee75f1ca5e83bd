"""A signal calls the stop first, at once, whatever the program waits for."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time

import pytest

PROGRAM = """
import sys, time
from asleft.cli import signals
signals.install()
def stop():
    print("stop", time.monotonic(), flush=True)
    {extra}
try:
    with signals.on_stop(stop):
        print("ready", flush=True)
        {wait}
except KeyboardInterrupt:
    {unwind}
    print("unwound", flush=True)
    sys.exit(130)
"""
WAITS = {
    "sleep": "time.sleep(30)",
    "keyboard": "sys.stdin.readline()",
    "busy": "while True: pass",
    "socket": "import socket; a, b = socket.socketpair(); a.recv(1)",
}
pytestmark = pytest.mark.skipif(os.name == "nt", reason="POSIX signals")


def start(wait: str, extra: str = "pass", unwind: str = "pass") -> subprocess.Popen[str]:
    program = PROGRAM.format(wait=wait, extra=extra, unwind=unwind)
    child = subprocess.Popen(
        [sys.executable, "-c", program],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert child.stdout is not None and child.stdout.readline() == "ready\n"
    return child


@pytest.mark.parametrize("wait", WAITS)
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_stop_goes_out_first_within_100_ms(wait, number):
    child = start(WAITS[wait])
    time.sleep(0.05)
    sent_s = time.monotonic()
    child.send_signal(number)
    out, _ = child.communicate(timeout=10)
    stopped, unwound = out.splitlines()
    assert unwound == "unwound" and child.returncode == 130
    # The same monotonic clock in both processes (CLOCK_MONOTONIC is the system's).
    assert float(stopped.split()[1]) - sent_s < 0.1


def test_a_second_signal_does_not_cut_the_way_out_short():
    # Unwinding happens while the stop is still registered, as it is around a bench.
    wait = """try:
            print("in", flush=True)
            time.sleep(30)
        finally:
            print('unwinding', flush=True)
            time.sleep(0.5)
"""
    child = start(wait)
    assert child.stdout is not None
    assert child.stdout.readline() == "in\n"
    child.send_signal(signal.SIGINT)
    assert child.stdout.readline().startswith("stop")
    assert child.stdout.readline() == "unwinding\n"
    child.send_signal(signal.SIGINT)
    out, err = child.communicate(timeout=10)
    assert out.splitlines()[-1] == "unwound" and child.returncode == 130
    assert "Still making the machine safe" in err


def test_a_stop_that_fails_names_the_power_switch_and_still_ends():
    child = start("time.sleep(30)", extra="raise OSError('unplugged')")
    child.send_signal(signal.SIGTERM)
    out, err = child.communicate(timeout=10)
    assert "power switch" in err and out.splitlines()[-1] == "unwound"
    assert child.returncode == 130
