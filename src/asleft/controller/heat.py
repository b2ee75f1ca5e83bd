"""Heaters under limits: warm up by asking, off and read back.

Never a blocking command: M104 and M105 in turn, so that a stop is never behind a wait. Bounds
come from how a nozzle warms. Stands on `asking`; not for the guard of an unwatched line.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from asleft.controller.asking import Asker, tell_also
from asleft.controller.capabilities import parse_temperatures
from asleft.controller.codes import cool_codes, heat_codes
from asleft.controller.description import MachineDescription
from asleft.controller.limits import check_target
from asleft.errors import AsleftError, LineError, MachineError, RefusedError
from asleft.link import Temperature, sensor_is_broken

Progress = Callable[[float, float | None], None]  # share done 0..1, seconds left or None

ANSWER_S = 10.0  # a question without motion; busy lines lengthen it
REACHED_C = 2.0
_STEADY_REPORTS = 3
_RISE_C, _RISE_S = 2.0, 30.0  # a working heater shows more than this (common practice, no source)
_CRAWL_C = 10.0  # near the target the regulator may slow down
_OVERSHOOT_C = 20.0
_SLOWEST_C_S = 0.3
_SLOWEST_BED_C_S = 0.08  # a heavy bed on a weak supply (common practice, no source)
_MARGIN_S = 180.0
_COLDEST_FEED_C = 170.0  # usual guard against cold feeding (common practice, no source)
SWITCH_OFF = "Switch the machine off at its power switch."


@dataclass(frozen=True)
class Warming:
    """A wait for a heater as it goes: which sensor, its target, °C, and what was seen so far.

    `seen` grows while the wait is on: seconds since it began and °C.
    """

    sensor: str
    target_c: float
    seen: list[tuple[float, float]]


class Heat:
    """The heaters of one machine."""

    def __init__(
        self,
        asker: Asker,
        description: MachineDescription,
        *,
        clock: Callable[[], float],
        pause: Callable[[float], None],
    ) -> None:
        self._asker = asker
        self.description = description
        self._clock = clock
        self._pause = pause
        self.warming: Warming | None = None

    def temperatures(self) -> dict[str, Temperature]:
        """Actual and target of `T0`, … and `B`, °C, asked now.

        Raises:
            MachineError: no temperature in the answer.
        """
        said: list[str] = []
        for _ in range(2):  # a garbled answer is asked for again
            heard = self._asker.ask("M105", within_s=ANSWER_S, awaited="the temperatures")
            unasked = [n.text for n in heard.unasked if n.kind == "temperature"]
            said = [heard.answer.acknowledged, *heard.answer.lines, *unasked]
            found = parse_temperatures(said)
            if "T0" in found:
                return found
        told = "; ".join(text for text in said if text) or "ok"
        raise MachineError(
            f"the machine tells no nozzle temperature: it answers {told!r} to M105", hint=SWITCH_OFF
        )

    def heat(self, tool: int, target_c: float, *, progress: Progress | None = None) -> None:
        """Warm a tool up and wait until it is steady within 2 K.

        Args:
            tool: 0 for the first.
            target_c: °C, at most the limit of the machine's description.
            progress: told the share done and the seconds left.

        Raises:
            InputError, RefusedError: no such tool or temperature; nothing was sent.
            MachineError: no rise, a broken sensor, overshoot, too slow. The heaters are off.
        """
        check_target(target_c, tool, self.description)
        codes = heat_codes(tool, target_c, self.description.tools)
        self._warm(codes, f"T{tool}", target_c, progress)

    def heat_bed(self, target_c: float, *, progress: Progress | None = None) -> None:
        """Warm the bed up and wait until it is steady within 2 K; as `heat`.

        Raises:
            RefusedError: above the limit of the machine's description; nothing was sent.
            MachineError: as `heat`. The heaters are off.
        """
        limit_c = self.description.max_bed_c
        if not 0 < target_c <= limit_c:
            raise RefusedError(
                f"{target_c:g} °C is beyond this bed's limit of {limit_c:g} °C",
                hint="Choose a lower temperature.",
                where="bed temperature",
            )
        self._warm([f"M140 S{target_c:g}"], "B", target_c, progress)

    def _warm(
        self, codes: list[str], sensor: str, target_c: float, progress: Progress | None
    ) -> None:
        """Send the target and wait; whatever goes wrong, all heaters are off afterwards."""
        try:
            with self._asker.operation():
                for code in codes:
                    self._asker.ask(code, within_s=ANSWER_S, awaited="the heater's new target")
                self._await(sensor, target_c, progress)
        except LineError:
            raise  # the owner of the line switches off when it returns
        except BaseException as error:
            try:
                self.off()
            except AsleftError as failure:
                tell_also(error, failure)
            raise
        finally:
            self.warming = None

    def require_hot(self, tool: int) -> None:
        """Refuse to feed through a cold nozzle.

        Raises:
            RefusedError: colder than filament melts, or far from its target.
        """
        now = self._of(f"T{tool}", self.temperatures())
        far = now.target_c is not None and now.actual_c < now.target_c - 5 * REACHED_C
        if far or not now.actual_c >= _COLDEST_FEED_C:
            raise RefusedError(
                f"the nozzle is at {now.actual_c:g} °C, too cold to feed",
                hint="Heat it first.",
                where=f"tool {tool}",
            )

    def off(self) -> None:
        """Heaters of all tools and the bed off, and their targets read back as 0.

        Raises:
            MachineError: the machine still shows a target above 0.
        """
        targets: dict[str, float | None] = {}
        for _ in range(3):
            codes = cool_codes(self.description.tools)
            said = [self._asker.ask(code, within_s=ANSWER_S, may_refuse=True) for code in codes]
            now = self.temperatures()
            targets = {n: t.target_c for n, t in now.items() if t.target_c}
            told = now["T0"].target_c is not None  # else only the answers tell
            if not targets and (told or said[0].refusal is None):
                self._asker.stop_untold = False  # whoever is here knows of it
                return
        raise MachineError(f"the heaters are not off: targets {targets}", hint=SWITCH_OFF)

    def _await(self, sensor: str, target_c: float, progress: Progress | None) -> None:
        start_s = self._clock()
        first = self._of(sensor, self.temperatures()).actual_c
        self.warming = Warming(sensor, target_c, [(0.0, first)])
        slowest_c_s = _SLOWEST_BED_C_S if sensor == "B" else _SLOWEST_C_S
        bound_s = abs(target_c - first) / slowest_c_s + _MARGIN_S
        mark_c, mark_s, steady = first, start_s, 0
        while steady < _STEADY_REPORTS:
            now = self._of(sensor, self.temperatures())
            elapsed_s = self._clock() - start_s
            self.warming.seen.append((elapsed_s, now.actual_c))
            self._check_report(now, target_c, hottest_c=max(first, target_c))
            steady = steady + 1 if abs(now.actual_c - target_c) <= REACHED_C else 0
            if now.actual_c >= mark_c + _RISE_C or now.actual_c > target_c - _CRAWL_C:
                mark_c, mark_s = now.actual_c, self._clock()
            elif self._clock() - mark_s > _RISE_S:
                raise self._fault(f"it rose less than {_RISE_C:g} K in {_RISE_S:g} s", now)
            if elapsed_s > bound_s:
                raise self._fault(f"{target_c:g} °C not reached in {elapsed_s:.0f} s", now)
            if progress is not None:
                progress(*_share(first, now.actual_c, target_c, elapsed_s))
            if steady < _STEADY_REPORTS:
                self._pause(min(0.5, max(0.02, elapsed_s / 20)))

    def _check_report(self, now: Temperature, target_c: float, *, hottest_c: float) -> None:
        if sensor_is_broken(now.actual_c):
            raise self._fault("its sensor is broken", now)
        if now.actual_c > hottest_c + _OVERSHOOT_C:
            raise self._fault("it is hotter than was asked", now)
        if now.target_c is not None and abs(now.target_c - target_c) > 1.0:
            raise self._fault(f"its target is {now.target_c:g} °C, not {target_c:g}", now)

    def _fault(self, what: str, now: Temperature) -> MachineError:
        return MachineError(
            f"the heater does not warm up as it should: {what} (last report {now.actual_c:g} °C)",
            hint="The heaters were switched off. Look at heater and sensor before going on.",
            where="heater",
        )

    def _of(self, sensor: str, temperatures: dict[str, Temperature]) -> Temperature:
        found = temperatures.get(sensor)
        if found is None:
            raise MachineError(f"no temperature of {sensor} in the answer", hint=SWITCH_OFF)
        return found


def _share(
    first_c: float, now_c: float, target_c: float, elapsed_s: float
) -> tuple[float, float | None]:
    """Share done, 0 to 1, and the seconds left if it goes on as so far."""
    way = target_c - first_c
    share = 1.0 if abs(way) < REACHED_C else min(1.0, max(0.0, (now_c - first_c) / way))
    return share, (elapsed_s * (1 - share) / share if share > 0.02 else None)
