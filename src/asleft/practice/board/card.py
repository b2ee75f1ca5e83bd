"""The memory card: a file of codes, executed as fast as the controller reads, on the own clock.

The same rules as on the wire: every line goes through the same handlers, so what is refused there
is refused here, said on the wire and kept for whoever put the card in. Not for what is printed by
it (`deposit`). Stands on the controller and its commands.
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass

from asleft.practice.board.controller import Controller
from asleft.practice.board.motion_commands import plan_move
from asleft.practice.errors import CannotError
from asleft.practice.words.wire import parse, strip_comments

LINES_AT_ONCE = 200
"""Lines between two looks at the wire: some milliseconds."""
MOVES = ("G0", "G1")


@dataclass(frozen=True)
class CardPrint:
    """How a file went: its lines with commands, own seconds, and what was refused, each once."""

    lines: int
    seconds: float
    refused: tuple[str, ...]


async def print_card(board: Controller, text: str) -> CardPrint:
    """Execute a file to its end, or until the machine halts, restarts or is told to stop.

    Raises:
        CannotError: there is no command on the card, or it was stopped before its end.
    """
    commands = [line for line in map(strip_comments, text.splitlines()) if line]
    if not commands:
        raise CannotError("there is no command in the file on the card")
    board.refused.clear()
    board.printing = board.hurried = True
    began_s = board.clock.skipped_s
    try:
        for number, line in enumerate(commands, start=1):
            await _obey(board, line)
            if number % LINES_AT_ONCE == 0:
                await asyncio.sleep(0)
            if board.halted or not board.printing:
                raise CannotError(f"the print was stopped at line {number} of {len(commands)}")
        board.clock.skip(board.planner.until_done_s(board.clock.now_s()))
        board.planner.settle(board.clock.now_s())
    finally:
        board.printing = board.hurried = False
    seconds = board.clock.skipped_s - began_s
    return CardPrint(len(commands), seconds, tuple(dict.fromkeys(board.refused)))


async def _obey(board: Controller, line: str) -> None:
    """One line. Moves never wait for room: their time passes as they are put in."""
    command = parse(line)
    if command is None or command.code not in MOVES:
        await board.do(line)
        return
    if (refusal := board.faults.refusal(command.code, command.words)) is not None:
        board.refuse(refusal)
        return
    put = plan_move(board, command)
    if put is not None:
        put()
        board.clock.skip(board.planner.until_done_s(board.clock.now_s()))
        board.planner.settle(board.clock.now_s())
