"""Moves of the practice machine: a queue of sixteen, each with its time on the own clock.

Not for limits (the controller refuses before anything is queued) and without ramps: a move takes
distance over speed. Positions are what the controller believes, in mm. Stands on nothing.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field, replace

AXES = ("X", "Y", "Z", "E")
QUEUE_LENGTH = 16

Position = dict[str, float]
Feed = Callable[[float, float], None]
"""Told when filament was commanded: mm (as motor length at true steps) and mm/min."""
Watch = Callable[["Move"], None]
"""Told of every move that was made, or of its part before a stop."""


@dataclass(frozen=True)
class Move:
    """One queued move. `feed_mm` is what the motor will push at its true steps."""

    start: Position
    end: Position
    begins_s: float
    ends_s: float
    feed_mm: float

    @property
    def feed_mm_min(self) -> float:
        """Rate of the filament, mm/min."""
        return abs(self.feed_mm) / max(1e-9, self.ends_s - self.begins_s) * 60


@dataclass
class Planner:
    """The queue. `feed` and `watch` are called once a move, or its part before a stop, is done;
    `emptied` when all axes were homed, as they are before a piece.

    `direction` is +1 or -1 by the way each axis was last sent, 0 before it ever moved.
    """

    feed: Feed
    planned: Position = field(default_factory=lambda: dict.fromkeys(AXES, 0.0))
    homed: set[str] = field(default_factory=set)
    direction: Position = field(default_factory=lambda: dict.fromkeys(AXES, 0.0))
    watch: Watch | None = None
    emptied: Callable[[], None] = lambda: None
    _moves: deque[Move] = field(default_factory=deque)

    def queue(
        self, end: Position, rate_mm_s: dict[str, float], feed_mm: float, now_s: float
    ) -> None:
        """Add a straight move.

        Args:
            end: where to, all axes, mm.
            rate_mm_s: the asked rate under `F` and the highest of each axis; the slowest counts.
            feed_mm: what the motor will push at true steps.
            now_s: own time.
        """
        seconds = move_seconds(self.planned, end, rate_mm_s)
        begins = max(now_s, self._moves[-1].ends_s if self._moves else now_s)
        self._moves.append(Move(dict(self.planned), dict(end), begins, begins + seconds, feed_mm))
        for axis in AXES:
            if end[axis] != self.planned[axis]:
                self.direction[axis] = math.copysign(1.0, end[axis] - self.planned[axis])
        self.planned = dict(end)

    def settle(self, now_s: float) -> None:
        """Account for every move that has ended by now."""
        while self._moves and self._moves[0].ends_s <= now_s:
            self._account(self._moves.popleft())

    def _account(self, move: Move) -> None:
        if move.feed_mm:
            self.feed(move.feed_mm, move.feed_mm_min)
        if self.watch is not None:
            self.watch(move)

    def until_room_s(self, now_s: float) -> float:
        """Own seconds until another move fits."""
        self.settle(now_s)
        if len(self._moves) < QUEUE_LENGTH:
            return 0.0
        return self._moves[0].ends_s - now_s

    def until_done_s(self, now_s: float) -> float:
        """Own seconds until the last queued move ends."""
        self.settle(now_s)
        return self._moves[-1].ends_s - now_s if self._moves else 0.0

    def position(self, now_s: float) -> Position:
        """Where the carriage is now, as the controller believes."""
        self.settle(now_s)
        if not self._moves:
            return dict(self.planned)
        return _between(self._moves[0], now_s)

    def stop(self, now_s: float) -> None:
        """Drop the queue and stand still where the carriage is."""
        self.settle(now_s)
        if not self._moves:
            return
        move = self._moves[0]
        self.planned = _between(move, now_s)
        done = _share(move, now_s)
        if done:
            self._account(
                replace(move, end=self.planned, ends_s=now_s, feed_mm=move.feed_mm * done)
            )
        self._moves.clear()


def move_seconds(start: Position, end: Position, rate_mm_s: dict[str, float]) -> float:
    """Seconds of a straight move: the asked rate counts along X, Y, Z, else along E."""
    way = {axis: abs(end[axis] - start[axis]) for axis in AXES}
    along = math.sqrt(sum(way[a] ** 2 for a in "XYZ")) or way["E"]
    slowest = max((way[a] / rate_mm_s[a] for a in AXES if way[a]), default=0.0)
    return max(along / rate_mm_s["F"], slowest)


def _share(move: Move, now_s: float) -> float:
    if move.ends_s <= move.begins_s:
        return 1.0
    return min(1.0, max(0.0, (now_s - move.begins_s) / (move.ends_s - move.begins_s)))


def _between(move: Move, now_s: float) -> Position:
    done = _share(move, now_s)
    return {a: move.start[a] + done * (move.end[a] - move.start[a]) for a in AXES}
