"""The process that owns a line: `python -m asleft.controller.owner`, started by `line`.

It reads what to do from standard input, calls its client back over loopback, and serves
requests as JSON lines until told to close or until the client is gone; then heaters go off
first. Not for people: the one-time token keeps other programs out.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import sys
from dataclasses import asdict
from typing import Any

from asleft.controller.owner_config import OwnerConfig
from asleft.controller.owner_session import Session
from asleft.errors import AsleftError, BugError, LineError
from asleft.link.guard import GuardLimits
from asleft.link.platform import on_ending

CHANNELS = ("work", "side", "stop")
LONGEST_REQUEST_BYTES = 1 << 20


class Owner:
    """Serves one client: `work` for exchanges, `side` for notices, `stop` for stopping.

    Each channel answers in order; three of them, so that a stop never stands behind an exchange.
    """

    def __init__(self, session: Session) -> None:
        self._session = session
        self._done = asyncio.Event()
        self._outcome: str | None = None

    def end(self) -> None:
        """Make the machine safe and go: the client is gone, or the system says so."""
        self._done.set()

    async def run(self, port: int, token: str) -> None:
        """Connect to the client, serve it, leave the machine safe."""
        streams = [await asyncio.open_connection("127.0.0.1", port) for _ in CHANNELS]
        writers = [writer for _, writer in streams]
        for name, (_, writer) in zip(CHANNELS, streams, strict=True):
            writer.write(_line({"token": token, "channel": name}))
        servers = [
            asyncio.create_task(self._serve(reader, writer, opens=name == "work"))
            for name, (reader, writer) in zip(CHANNELS, streams, strict=True)
        ]
        await self._done.wait()
        with contextlib.suppress(Exception):
            await self._leave()
        for server in servers:
            server.cancel()
        await asyncio.gather(*servers, return_exceptions=True)
        for writer in writers:
            writer.close()

    async def _leave(self) -> None:
        session = self._session
        if session.is_open and session.guard.ours:
            with contextlib.suppress(Exception):
                session.stop()
        await session.close()

    async def _serve(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, *, opens: bool
    ) -> None:
        try:
            if opens:
                await self._reply(writer, 0, self._open())
            while request := await reader.readline():
                asked = json.loads(request)
                await self._reply(writer, asked["id"], self._do(asked))
        except (ConnectionError, ValueError):
            pass  # the client is gone, or speaks nonsense: the same ending
        finally:
            self._done.set()

    async def _reply(self, writer: asyncio.StreamWriter, number: int, work: Any) -> None:
        try:
            reply = {"id": number, "result": await work}
        except AsleftError as error:
            reply = {"id": number, "error": {**error.to_dict(), "type": type(error).__name__}}
        except Exception as error:
            bug = BugError(f"the process that holds the line failed: {error!r}")
            reply = {"id": number, "error": {**bug.to_dict(), "type": "BugError"}}
        writer.write(_line(reply))
        await writer.drain()

    async def _open(self) -> dict[str, Any]:
        return asdict(await self._session.open())

    async def _do(self, asked: dict[str, Any]) -> Any:
        session = self._session
        result: Any = None
        match asked["do"]:
            case "exchange":
                result = asdict(await session.exchange(asked["command"], asked["within_s"]))
            case "limit":
                session.limit(GuardLimits(**asked["limits"]), tuple(asked["safe_lines"]))
            case "is_lost":
                result = session.is_lost()
            case "reopen":
                result = asdict(await session.reopen(asked["within_s"]))
            case "stop":
                session.stop()
            case "notices":
                result = [asdict(notice) for notice in session.notices()]
            case "close":
                result = await self._close()
            case other:
                raise BugError(f"the process that holds the line was asked for {other!r}")
        return result

    async def _close(self) -> str | None:
        outcome = await self._session.close()
        if outcome is not None and not outcome.confirmed:
            raise LineError(outcome.words(), where=self._session.config.address)
        return outcome.words() if outcome is not None else None


def _line(values: dict[str, Any]) -> bytes:
    return json.dumps(values, separators=(",", ":")).encode("ascii") + b"\n"


async def _main(told: dict[str, Any]) -> None:
    owner = Owner(Session(OwnerConfig.from_dict(told["config"])))
    on_ending(asyncio.get_running_loop(), owner.end)
    await owner.run(told["port"], told["token"])


def main() -> None:
    """Entry point: one JSON object on standard input says everything."""
    told = json.loads(sys.stdin.readline())
    sys.stdin.close()
    asyncio.run(_main(told))


if __name__ == "__main__":
    main()
    os._exit(0)  # a blocked port must not keep the process, and its lock, alive
