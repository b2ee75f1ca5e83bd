"""A machine's line, seen from the program that uses it: a client of the process that owns it.

Starts the owner, asks it over loopback, raises its errors here. Blocking; several threads may
use it, and `stop` gets through from a signal handler while another call blocks.
"""

from __future__ import annotations

import contextlib
import json
import secrets
import socket
import subprocess
import sys
import tempfile
import time
from dataclasses import asdict
from pathlib import Path
from typing import IO, Any

from asleft.controller.codes import cool_codes
from asleft.controller.owner_channel import Channel
from asleft.errors import LineError, Stopped
from asleft.link.answer import Answer, LineFacts, Notice
from asleft.link.guard import GuardLimits
from asleft.link.platform import apart_from_terminal
from asleft.link.transport import PortTransport

START_WITHIN_S = 30.0
STOP_WITHIN_S = 5.0
END_WITHIN_S = 60.0  # heaters off may take 40 s on a broken line


class OwnedLine:
    """A `link.Line`: what `open_line` gives. Use it as a context manager, or `close` it."""

    def __init__(
        self, owner: subprocess.Popen[bytes], channels: dict[str, Channel], facts: LineFacts
    ) -> None:
        self.facts = facts
        self.owner_pid = owner.pid
        self._owner = owner
        self._channels = channels
        self._closed = False
        self._stops = 0

    def exchange(self, command: str, *, within_s: float) -> Answer:
        """Send one command and wait for its answer; see `link.Line.exchange`.

        Whoever waits for another thread's exchange to end when a stop comes sends nothing.
        """
        channel, stops = self._channels["work"], self._stops
        with channel.lock:
            if stops != self._stops:
                raise Stopped("stopped before it was sent", where=command)
            told = channel.ask("exchange", command=command, within_s=within_s)
        told["lines"], told["errors"] = tuple(told["lines"]), tuple(told["errors"])
        return Answer(**told)

    def notices(self) -> list[Notice]:
        """What came unasked since the last call, in order; also while an exchange blocks."""
        channel = self._channels["side"]
        with channel.lock:
            return [Notice(**told) for told in channel.ask("notices")]

    def limit(self, limits: GuardLimits, safe_lines: tuple[str, ...]) -> None:
        """Other limits and heaters-off lines from now on; see `link.Line.limit`."""
        channel = self._channels["side"]
        with channel.lock:
            channel.ask("limit", limits=asdict(limits), safe_lines=safe_lines)

    def is_lost(self) -> bool:
        """Whether the connection to the machine is gone."""
        channel = self._channels["side"]
        with channel.lock:
            return bool(channel.ask("is_lost"))

    def reopen(self, *, within_s: float) -> LineFacts:
        """Open a lost line again until the machine answers; see `link.Line.reopen`."""
        channel = self._channels["work"]
        with channel.lock:
            self.facts = LineFacts(**channel.ask("reopen", within_s=within_s))
        return self.facts

    def stop(self) -> None:
        """Stop and heaters off, written when this returns. Fit for a signal handler."""
        channel = self._channels["stop"]
        self._stops += 1
        if not channel.lock.acquire(blocking=False):
            return  # somebody is stopping already
        try:
            channel.ask("stop", patience_s=STOP_WITHIN_S)
        finally:
            channel.lock.release()

    def close(self) -> None:
        """Heaters off if they may be on, then the line is free. Safe to call twice.

        Raises:
            LineError: heaters off could not be confirmed; names the power switch.
        """
        if self._closed:
            return
        self._closed = True
        channel = self._channels["side"]  # `work` may still hold an exchange, interrupted or not
        try:
            with channel.lock:
                channel.ask("close", patience_s=END_WITHIN_S)
        finally:
            for one in self._channels.values():
                one.close()
            _wait_for(self._owner)

    def __enter__(self) -> OwnedLine:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()


def open_line(
    address: str,
    *,
    rate_baud: int | None = None,
    wire_log: Path,
    holder: str,
    limits: GuardLimits,
    tools: int = 1,
    heaters_off_first: bool = False,
    safe_within_s: float = 40.0,
) -> OwnedLine:
    """Start the owner of a line and wait until the machine answers.

    Args:
        address: `/dev/tty…`, `COM3` or `socket://host:port`.
        rate_baud: None probes the usual speeds on a serial port.
        wire_log: file that gets every byte with its time, appended.
        holder: who this is, in words for a second program that wants the machine.
        limits: temperatures and idle time that the owner holds to, whatever is commanded.
        heaters_off_first: after a crash or a lost connection: heaters off before anything else.
        safe_within_s: how long heaters off is tried after a fault.

    Raises:
        InputError: the address is none.
        LineError: held by another program (who is said), cannot be opened, or silent.
    """
    from asleft.controller.owner_config import OwnerConfig

    PortTransport(address)  # an address that is none is told here, before a process starts
    config = OwnerConfig(
        address=address,
        rate_baud=rate_baud,
        wire_log=str(wire_log),
        holder=holder,
        limits=limits,
        safe_lines=tuple(cool_codes(tools)),
        safe_within_s=safe_within_s,
        heaters_off_first=heaters_off_first,
    )
    complaints = tempfile.TemporaryFile()  # noqa: SIM115 - read only if the owner dies
    with complaints, socket.create_server(("127.0.0.1", 0)) as listener:
        token = secrets.token_hex(16)
        owner = _start(listener.getsockname()[1], token, config.to_dict(), complaints)
        channels: dict[str, Channel] = {}
        try:
            _accept(listener, token, owner, channels, complaints)
            facts = channels["work"].reply(0)
        except BaseException:
            for channel in channels.values():
                channel.close()
            _wait_for(owner)
            raise
    return OwnedLine(owner, channels, LineFacts(**facts))


def _start(
    port: int, token: str, config: dict[str, Any], complaints: IO[bytes]
) -> subprocess.Popen[bytes]:
    owner = subprocess.Popen(
        [sys.executable, "-P", "-m", "asleft.controller.owner"],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        stderr=complaints,
        **apart_from_terminal(),
    )
    told = json.dumps({"port": port, "token": token, "config": config})
    if owner.stdin is not None:
        with contextlib.suppress(BrokenPipeError), owner.stdin as pipe:
            pipe.write(told.encode("ascii") + b"\n")
    return owner


def _accept(
    listener: socket.socket,
    token: str,
    owner: subprocess.Popen[bytes],
    channels: dict[str, Channel],
    complaints: IO[bytes],
) -> None:
    """Take the owner's connections; others, without the token, are turned away."""
    listener.settimeout(0.2)
    end_s = time.monotonic() + START_WITHIN_S
    while len(channels) < 3:
        if owner.poll() is not None or time.monotonic() > end_s:
            complaints.seek(0)
            last = complaints.read().decode("utf-8", "replace").strip().splitlines()[-1:]
            raise LineError(f"the process that holds the line did not start: {''.join(last)}")
        try:
            connection, _ = listener.accept()
        except TimeoutError:
            continue
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        channel = Channel(connection)
        hello = channel.hello()
        if not secrets.compare_digest(str(hello.get("token")), token):
            channel.close()
            continue
        channels[str(hello["channel"])] = channel


def _wait_for(owner: subprocess.Popen[bytes]) -> None:
    """Wait until the owner has gone; it goes by itself once its client has."""
    try:
        owner.wait(END_WITHIN_S)
    except subprocess.TimeoutExpired:
        owner.kill()
        owner.wait()
