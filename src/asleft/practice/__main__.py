"""The practice machine as a process: `python -m asleft.practice --seed N`.

First line on standard output is JSON that says where it listens; then one JSON request a line on
standard input gets one JSON reply a line. End of input ends it. Stands on `workshop` and `server`.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import os
import secrets
import sys
import threading
from typing import Any

from asleft.practice.clock import Clock
from asleft.practice.errors import CannotError
from asleft.practice.server import PtyEnd, SocketEnd, WireEnd
from asleft.practice.words.kinds import KINDS
from asleft.practice.workshop import Workshop


def main(arguments: list[str] | None = None) -> int:
    """Run until standard input ends."""
    parser = argparse.ArgumentParser(prog="python -m asleft.practice", description=__doc__)
    parser.add_argument("--seed", type=int, help="of everything hidden; drawn where not given")
    parser.add_argument("--as", dest="kind", choices=sorted(KINDS), default="cartesian")
    parser.add_argument("--speed", type=float, default=60.0, help="own seconds per wall second")
    parser.add_argument("--pty", action="store_true", help="a pseudo-terminal, not a socket")
    parser.add_argument("--port", type=int, default=0, help="loopback port; 0 takes a free one")
    options = parser.parse_args(arguments)
    if options.speed <= 0:
        parser.error("--speed must be above 0")
    if options.seed is not None and options.seed < 0:
        parser.error("--seed must be 0 or more")
    try:
        asyncio.run(_serve(options))
    except KeyboardInterrupt:
        return 130
    except OSError as error:
        sys.stderr.write(f"the practice machine cannot listen: {error}\n")
        return 3
    return 0


async def _serve(options: argparse.Namespace) -> None:
    seed = secrets.randbits(31) if options.seed is None else options.seed
    kind = KINDS[options.kind]
    workshop = Workshop(seed=seed, kind=kind, clock=Clock(options.speed))
    wire = await _open(workshop, options)
    workshop.board.start()
    await workshop.booted()  # switched on long ago: its banner went by unheard
    workshop.board.output, workshop.wire = wire.send, wire
    _print(
        {
            "address": wire.address,
            "seed": seed,
            "kind": kind.name,
            "machine": kind.owner_knows(),
            "instrument": workshop.person.caliper.owner_knows(),
        }
    )
    try:
        await _converse(workshop)
    finally:
        await workshop.board.stop()
        await wire.close()


async def _open(workshop: Workshop, options: argparse.Namespace) -> WireEnd:
    board = workshop.board
    if options.pty:
        terminal = PtyEnd(board.receive)
        await terminal.open()
        return terminal
    resets: set[asyncio.Task[None]] = set()

    def opened() -> None:
        if board.faults.restart_on_opening:
            task = asyncio.get_running_loop().create_task(board.reset())
            resets.add(task)
            task.add_done_callback(resets.discard)

    listening = SocketEnd(board.receive, opened)
    await listening.open(options.port)
    return listening


async def _converse(workshop: Workshop) -> None:
    """Answer requests until standard input ends."""
    requests: asyncio.Queue[bytes | None] = asyncio.Queue()
    loop = asyncio.get_running_loop()
    threading.Thread(target=_read_input, args=(loop, requests), daemon=True).start()
    while (line := await requests.get()) is not None:
        if line.strip():
            _print(await _reply(workshop, line))


async def _reply(workshop: Workshop, line: bytes) -> dict[str, Any]:
    number: Any = None
    try:
        request = json.loads(line)
        number = request.pop("id", None)
        name = request.pop("do")
        return {"id": number, "ok": True, **await workshop.do(name, **request)}
    except CannotError as error:
        return {"id": number, "ok": False, "message": str(error)}
    except (ValueError, KeyError, AttributeError, TypeError) as error:
        return {"id": number, "ok": False, "message": f"not a request: {error}"}


def _read_input(loop: asyncio.AbstractEventLoop, requests: asyncio.Queue[bytes | None]) -> None:
    """A thread, since standard input cannot be awaited on every system."""
    rest = b""
    while chunk := os.read(0, 65536):
        *lines, rest = (rest + chunk).split(b"\n")
        for line in lines:
            loop.call_soon_threadsafe(requests.put_nowait, line)
    loop.call_soon_threadsafe(requests.put_nowait, None)


def _print(message: dict[str, Any]) -> None:
    sys.stdout.write(json.dumps(message) + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main())
