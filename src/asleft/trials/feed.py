"""The feed trial: how much filament goes in when a length is commanded.

Mark the filament, feed slowly, measure what is left, several times (120 mm marked and
100 mm commanded, 20 mm left is right: common practice, no source). The nozzle is hot, or
the tube is detached and the filament moves freely in the cold.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, ClassVar

from asleft.errors import InputError
from asleft.measure import FeedReading, Solution, parse_feed_table, solve_feed
from asleft.trials.basis import Basis
from asleft.trials.steps import ByHand, CoolDown, Feed, Heat, Read, Step
from asleft.trials.trial import AllSteps, Entry, data_rows

# Above this a nozzle with a plastic-lined tube gives off harmful fumes (common practice, no
# source); whoever has another hot end says so with a higher limit in the machine's description.
MATERIAL_LIMIT_C = 260.0

# Below this no common filament is printed, and a number typed wrong is likely (common practice,
# no source).
MELTS_FROM_C = 150.0

HOT = "The nozzle gets hot enough to burn: keep hands and sleeves away, and air the room."
MOVES = "The feed wheel turns: keep fingers and hair away from the extruder."
ATTENDED = (
    "Stay with the machine while it is hot. Stop, or Ctrl-C in a terminal, switches the heaters"
    " off."
)

MARK_GONE = (
    "The mark went in, so how much was fed is not known: mark more. Stop here and begin anew"
    " with a longer mark (--anew --marked 150)."
)


@dataclass(frozen=True)
class FeedTrial(AllSteps):
    """One feed trial. Lengths in mm, rates in mm/min, temperature in °C.

    With `rates_mm_min` it feeds `repeats` times at each of these rising rates, to find where the
    gear begins to slip.
    """

    kind: ClassVar[str] = "feed"
    resumable: ClassVar[bool] = True
    needs_line: ClassVar[bool] = True
    earlier: ClassVar[tuple[int, ...]] = ()

    marked_mm: float = 120.0
    length_mm: float = 100.0
    repeats: int = 4
    temperature_c: float | None = None
    rate_mm_min: float = 50.0
    rates_mm_min: tuple[float, ...] = ()
    tool: int = 0
    detached: bool = False
    axis: str = "E"

    def __post_init__(self) -> None:
        """Refuse numbers with which no reading could be taken."""
        if not 0 < self.length_mm < self.marked_mm:
            raise InputError(
                f"feeding {self.length_mm:g} mm of {self.marked_mm:g} mm marked leaves nothing"
                " to measure",
                hint="Mark more than is fed: 120 and 100 are a good pair.",
                where="--length",
            )
        if self.temperature_c is not None and self.temperature_c < MELTS_FROM_C:
            raise InputError(
                f"nothing melts at {self.temperature_c:g} °C",
                hint=f"Give what the spool's label says, {MELTS_FROM_C:g} °C or more.",
                where="--temperature",
            )
        if self.repeats < 1:
            raise InputError("no repeats, no reading", hint="Four are good.", where="--repeats")
        if list(self.rates_mm_min) != sorted(set(self.rates_mm_min)):
            raise InputError(
                "the rates do not rise", hint="Give them from low to high.", where="--rates"
            )

    @property
    def parameters(self) -> dict[str, Any]:
        """JSON values from which the trial can be rebuilt."""
        return {**asdict(self), "rates_mm_min": list(self.rates_mm_min)}

    @property
    def steps(self) -> tuple[Step, ...]:
        """Check, heat, then mark, feed and measure in turn; heaters off before the last reading."""
        cool = () if self.detached else (CoolDown("feed.cool"),)
        rates = [r for r in self.rates_mm_min or (self.rate_mm_min,) for _ in range(self.repeats)]
        feeds = [self._repeat(n, len(rates), rate) for n, rate in enumerate(rates, start=1)]
        *steps, reading = (step for feed in feeds for step in feed)
        return (*self._preparation(), *steps, *cool, reading)

    def _preparation(self) -> tuple[Step, ...]:
        if self.detached:
            text = (
                "Detach the tube or the hot end, so that the filament leaves the extruder freely"
                " and nothing is pushed into a cold nozzle."
            )
            return (ByHand("feed.ready", text, (MOVES,)),)
        if self.temperature_c is None:
            raise InputError(
                "the nozzle's temperature for this filament is not given",
                hint="Read it off the spool's label and give it with --temperature.",
                where="--temperature",
            )
        text = "Load filament, clear the nozzle's surroundings, and stay with the machine."
        return (
            ByHand("feed.ready", text, (HOT, MOVES, ATTENDED)),
            Heat("feed.heat", self.tool, self.temperature_c, MATERIAL_LIMIT_C),
        )

    def _repeat(self, repeat: int, repeats: int, rate_mm_min: float) -> tuple[Step, ...]:
        count = (repeat, repeats)
        mark = f"feed.{repeat}.mark"
        return (
            ByHand(
                mark,
                f"Mark the filament {self.marked_mm:g} mm above the point where it enters.",
                action="mark",
                details={"marked_mm": self.marked_mm},
                count=count,
            ),
            Feed(
                f"feed.{repeat}.feed",
                self.length_mm,
                rate_mm_min,
                self.tool,
                detached=self.detached,
                redo_from=mark,
                count=count,
            ),
            Read(
                f"feed.{repeat}.remaining",
                "Measure what remains from the entry to the mark.",
                action="measure_remaining",
                details={
                    "marked_mm": self.marked_mm,
                    "commanded_mm": self.length_mm,
                    "high": self.marked_mm,
                    "not_zero": MARK_GONE,
                    **({"rate_mm_min": rate_mm_min} if self.rates_mm_min else {}),
                },
                count=count,
                cautions=() if self.detached else ("The nozzle is still hot.",),
            ),
        )

    def entries(self, text: str, *, name: str) -> list[Entry]:
        """Readings already taken, from the text of a feed readings file."""
        return [
            Entry(r.fed_mm if r.remaining_mm is None else r.remaining_mm, _about(r), raw)
            for r, raw in zip(parse_feed_table(text, name=name), data_rows(text), strict=True)
        ]

    def solve(self, entries: Sequence[Entry], basis: Basis) -> Solution:
        """The fed ratio, and what the extruder's steps per mm should be."""
        only_one = {"E0": "E", "E": "E0"}  # a machine with one tool calls it by either name
        axis = self.axis if self.axis in basis.in_force else only_one.get(self.axis, self.axis)
        return solve_feed(
            [_reading(entry.value, entry.about) for entry in entries],
            instrument=basis.instrument,
            in_force=basis.in_force.get(axis),
            axis=axis,
            tolerance=basis.tolerance,
        )


def _about(reading: FeedReading) -> dict[str, Any]:
    """The columns beside the number, as the store keeps them."""
    about = {
        "commanded_mm": reading.commanded_mm,
        "marked_mm": reading.marked_mm if reading.remaining_mm is not None else None,
        "rate_mm_min": reading.rate_mm_min,
    }
    return {key: value for key, value in about.items() if value is not None}


def _reading(value: float, about: Mapping[str, Any]) -> FeedReading:
    marked = about.get("marked_mm")
    return FeedReading(
        commanded_mm=about["commanded_mm"],
        fed_mm=value if marked is None else marked - value,
        marked_mm=marked,
        remaining_mm=None if marked is None else value,
        rate_mm_min=about.get("rate_mm_min"),
    )
