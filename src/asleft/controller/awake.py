"""Sleep and a hot machine: the computer is kept awake, and where it slept all the same it is seen.

A computer asleep guards no heater. Which command or call keeps it awake is `link.platform`'s;
when, is decided by whoever watches the heaters.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable, Iterator

from asleft.link.platform import keep_awake_commands, keep_thread_awake, passing_s

TAKES_EFFECT_WITHIN_S = 5.0
MAY_SLEEP = (
    "This computer may fall asleep while the machine is hot, and then nothing watches the heaters:"
    " switch its sleep off for the evening."
)


class Awake:
    """Keeps the computer awake between `hold` and `release`; where it cannot, it says so once.

    The system's command runs `cat` under its lock: when this process ends, however it ends, so
    does what `cat` reads, and the lock with it. Nothing here raises or waits for long.

    Args:
        tell: gets the words for a person when the system offers no way, or refuses.
    """

    def __init__(self, tell: Callable[[str], None]) -> None:
        self._tell = tell
        self._told = False
        self._holding: asyncio.Task[None] | None = None
        self._ending: set[asyncio.Task[None]] = set()

    def hold(self) -> None:
        """From now on the computer shall not fall asleep; does nothing when it is held."""
        if self._holding is None:
            self._holding = asyncio.create_task(self._hold())

    def release(self) -> None:
        """It may sleep again. Safe to call twice."""
        holding, self._holding = self._holding, None
        if holding is not None:
            holding.cancel()
            self._ending.add(holding)
            holding.add_done_callback(self._ending.discard)

    async def end(self) -> None:
        """Release it, and wait until the system's command has gone."""
        self.release()
        await asyncio.gather(*self._ending, return_exceptions=True)

    async def _hold(self) -> None:
        why = "the system offers no way"
        for command in keep_awake_commands():
            try:
                why = await _run(command)
            except OSError as error:
                why = f"{command[0]}: {error.strerror}"
        if keep_thread_awake(True):
            try:
                await asyncio.Event().wait()
            finally:
                keep_thread_awake(False)
        if not self._told:
            self._told = True
            self._tell(f"{MAY_SLEEP} ({why}.)")


async def _run(command: list[str]) -> str:
    """Stay as long as the command holds; why it did not, where it ends by itself."""
    child = await asyncio.create_subprocess_exec(
        *command,
        stdin=asyncio.subprocess.PIPE,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.PIPE,
    )
    try:
        async with asyncio.timeout(TAKES_EFFECT_WITHIN_S):
            held = await _echoed(child)
        if held:
            await child.wait()
        async with asyncio.timeout(TAKES_EFFECT_WITHIN_S):
            _, complaint = await child.communicate()
    except TimeoutError:
        return f"{command[0]} did not answer within {TAKES_EFFECT_WITHIN_S:g} s"
    finally:
        await _end(child)
    last = complaint.decode("utf-8", "replace").strip().splitlines()[-1:]
    return f"{command[0]} ended: {''.join(last) or 'it did not say why'}"


async def _echoed(child: asyncio.subprocess.Process) -> bool:
    """Whether a line comes back: only what runs under the lock repeats it."""
    if child.stdin is None or child.stdout is None:
        return False
    with contextlib.suppress(ConnectionError):
        child.stdin.write(b"held\n")
        await child.stdin.drain()
    return await child.stdout.readline() == b"held\n"


async def _end(child: asyncio.subprocess.Process) -> None:
    """The end of its input ends what runs under the lock, and a signal what holds it."""
    if child.stdin is not None:
        child.stdin.close()
    with contextlib.suppress(ProcessLookupError):
        child.terminate()
    await child.wait()


class SleepWatch:
    """Sees that the computer slept, or that this process stood still, which leaves a heater alone.

    Args:
        running_s: a clock that stands still while the computer sleeps, where the system has one.
        passing_s: a clock that does not.
    """

    def __init__(
        self,
        running_s: Callable[[], float] = time.monotonic,
        passing_s: Callable[[], float] = passing_s,
    ) -> None:
        self._running_s, self._passing_s = running_s, passing_s
        self._ahead_s = passing_s() - running_s()
        self._resting_s: float | None = None  # since when, or since it was last asked

    def slept_s(self) -> float:
        """Seconds slept since the last call; below 0 where a clock was set back."""
        running_s = self._running_s()
        ahead_s = self._passing_s() - running_s
        slept_s, self._ahead_s = ahead_s - self._ahead_s, ahead_s
        if self._resting_s is not None:
            slept_s = max(slept_s, running_s - self._resting_s)
            self._resting_s = running_s
        return slept_s

    @contextlib.contextmanager
    def resting(self) -> Iterator[None]:
        """Whoever watches rests for a moment: if it becomes long, nobody watched."""
        self._resting_s = self._running_s()
        try:
            yield
        finally:
            self._resting_s = None
