"""The traverse trial: the carriage goes to targets from both sides and is read each time.

No plastic and no heat. Only one axis moves at a time, so that an active skew factor shifts its
readings as a whole and cancels. Several cycles, as ISO 230-2 has it: up through the targets, a
little beyond, and down through them again.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, ClassVar

from asleft.errors import InputError
from asleft.measure import Solution, TraverseReading, parse_traverse_table, solve_traverse
from asleft.trials.basis import Basis
from asleft.trials.steps import ByHand, Home, Move, Read, Step
from asleft.trials.trial import AllSteps, Entry, data_rows

RUN_UP_MM = 2.0  # more than any slack, so that each approach is from one side only (ours)
PINCHES = "The carriage moves by itself: keep hands out until it stands, and the switch in reach."


@dataclass(frozen=True)
class TraverseTrial(AllSteps):
    """One axis over `span_mm` from `start_mm`, `targets` places, `cycles` times. Lengths in mm."""

    kind: ClassVar[str] = "traverse"
    needs_line: ClassVar[bool] = True
    # Homed anew, the carriage stands elsewhere by the switch's scatter, and the instrument's
    # zero with it: readings before and after do not go together.
    resumable: ClassVar[bool] = False
    earlier: ClassVar[tuple[int, ...]] = ()

    along: str = "X"
    start_mm: float = 40.0
    span_mm: float = 100.0
    targets: int = 5
    cycles: int = 3
    rate_mm_min: float = 600.0

    def __post_init__(self) -> None:
        """Refuse numbers with which nothing could be read."""
        if self.along not in ("X", "Y", "Z"):
            raise InputError(
                f"{self.along!r} is no axis to traverse", hint="Give X, Y or Z.", where="--along"
            )
        if self.targets < 2 or self.cycles < 1 or not self.span_mm > 0:
            raise InputError(
                "a traverse needs two targets, one cycle and a span at least",
                hint="Five targets, three cycles and 100 mm are good.",
                where="traverse",
            )

    @property
    def parameters(self) -> dict[str, Any]:
        """JSON values from which the trial can be rebuilt."""
        return asdict(self)

    @property
    def steps(self) -> tuple[Step, ...]:
        """Home, set up, then up and down through the targets, a reading at each."""
        ready = ByHand(
            "traverse.ready",
            f"Clear the bed and everything in the way along {self.along}.",
            (PINCHES,),
        )
        mount = ByHand(
            "traverse.mount",
            f"Set the instrument up along {self.along}, touching the carriage, so that it reads"
            f" more as {self.along} grows, and zero it.",
            (PINCHES,),
            action="mount",
            details={"axis": self.along},
        )
        first = self._targets()[0]
        steps: list[Step] = [ready, Home("traverse.home"), self._move("traverse.first", first)]
        steps.append(mount)
        for cycle in range(1, self.cycles + 1):
            steps += self._pass(cycle, "+") + self._pass(cycle, "-")
        return tuple(steps)

    def _targets(self) -> list[float]:
        step = self.span_mm / (self.targets - 1)
        return [round(self.start_mm + i * step, 3) for i in range(self.targets)]

    def _pass(self, cycle: int, approach: str) -> list[Step]:
        """One way through the targets, from a little outside the first of them."""
        ahead = 1.0 if approach == "+" else -1.0
        targets = self._targets() if approach == "+" else self._targets()[::-1]
        key = f"traverse.{cycle}{approach}"
        steps: list[Step] = [self._move(f"{key}.run-up", targets[0] - ahead * RUN_UP_MM)]
        total = 2 * self.cycles * self.targets
        before = ((cycle - 1) * 2 + (approach == "-")) * self.targets
        for number, target in enumerate(targets, start=1):
            steps += [
                self._move(f"{key}.{number}.move", target),
                Read(
                    f"{key}.{number}",
                    f"Read the instrument: {self.along} was sent to {target:g} mm.",
                    action="measure_carriage",
                    details={
                        "axis": self.along,
                        "target_mm": target,
                        "approach": approach,
                        "cycle": cycle,
                        "low": -1000.0,
                    },
                    count=(before + number, total),
                ),
            ]
        return steps

    def _move(self, key: str, target_mm: float) -> Move:
        return Move(key, self.along, target_mm, self.rate_mm_min)

    def entries(self, text: str, *, name: str) -> list[Entry]:
        """Readings already taken, from the text of a traverse readings file."""
        return [
            Entry(
                r.reading_mm,
                {
                    "axis": r.axis,
                    "target_mm": r.target_mm,
                    "approach": r.approach,
                    "cycle": r.cycle,
                },
                raw,
            )
            for r, raw in zip(parse_traverse_table(text, name=name), data_rows(text), strict=True)
        ]

    def solve(self, entries: Sequence[Entry], basis: Basis) -> Solution:
        """Motion scale, reversal, repeatability and accuracy of the axis."""
        return solve_traverse(
            [_reading(entry.value, entry.about) for entry in entries],
            instrument=basis.instrument,
            in_force=basis.in_force,
            drive=basis.drive,  # type: ignore[arg-type]
            tolerance=basis.tolerance,
        )


def _reading(value: float, about: Mapping[str, Any]) -> TraverseReading:
    columns = {key: about.get(key) for key in ("axis", "target_mm", "approach", "cycle")}
    return TraverseReading(reading_mm=value, **columns)  # type: ignore[arg-type]
