"""What the practice controller does by itself: temperature reports, and a halt when too hot.

Not for obeying commands. Stands on the controller passed in and the own clock.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from asleft.practice.board import commands

if TYPE_CHECKING:
    from asleft.practice.board.controller import Controller

TOO_HOT_C = 15.0
"""So far above its own limit the board halts by itself (ours)."""


async def watch(board: Controller) -> None:
    """Look again and again, until cancelled."""
    last = board.clock.now_s()
    while True:
        await board.clock.sleep(board.clock.paced_s(0.25))
        now, every = board.clock.now_s(), board.modes.report_every_s
        hottest_c = max(nozzle.read_c(now) for nozzle in board.nozzles)
        if hottest_c > board.kind.nozzle_limit_c + TOO_HOT_C and not board.halted:
            commands.halt(board, "nozzle too hot")
        if every and now - last >= every and not board.halted and not board.booting:
            board.say(" " + commands.temperatures(board))
            last = now
