"""Whether the machine restarted: by its banner, or by a line that went and came with the power.

What a proof over a power cycle stands on, so that doubt is an answer of its own. Not for what a
restart undoes: that is told by the next question. Stands on `asking`.
"""

from __future__ import annotations

from collections.abc import Callable

from asleft.controller.asking import Asker

_LOOK_AGAIN_S = 0.05


class RestartWatch:
    """Remembers which restarts were asked about."""

    def __init__(
        self, asker: Asker, *, clock: Callable[[], float], pause: Callable[[float], None]
    ) -> None:
        self._asker = asker
        self._clock = clock
        self._pause = pause
        self._known = 0

    def restarted(self, *, within_s: float) -> bool | None:
        """Whether the machine restarted in this session since the last time this was asked.

        Whoever asks knows of it: the next question does not raise for it again. A line that goes
        with the power is opened again as soon as the machine answers.

        Args:
            within_s: how long to wait for a restart; 0 looks at what was heard already.

        Returns:
            True when it said so, or restarted on opening again; None when the line was lost and
            came back without a word of a restart, so that it cannot be told.

        Raises:
            LineError: the line was lost and did not come back in that time.
        """
        asker, end_s = self._asker, self._clock() + within_s
        lost = False
        asker.hear()
        while asker.restarts == self._known and self._clock() < end_s and not lost:
            self._pause(_LOOK_AGAIN_S)
            asker.hear()
            lost = asker.line.is_lost()
        if lost:
            asker.line.reopen(within_s=max(_LOOK_AGAIN_S, end_s - self._clock()))
            asker.homed.clear()
            asker.hear()  # a restart on opening again is among the notices
        seen = asker.restarts > self._known
        self._known = asker.restarts
        asker.restarts_are_told()
        return None if lost and not seen else seen
