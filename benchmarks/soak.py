"""A day at one machine: the same evening again and again with trouble on the line, watched.

    python -m benchmarks.soak --hours 24 [--speed 300] [--seed 1]

Hours are the practice machine's own: so many seconds of the wall times its speed. Program, owner of
the line and practice machine are real processes; memory (RSS) and open handles of each are printed
over time. Status 1 where one of them is not flat between the second and the last quarter, or where
a cycle failed otherwise than in the program's own words.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import psutil

from asleft.bench import Bench
from asleft.cli.practice_person import PracticePerson
from asleft.errors import AsleftError, BugError
from asleft.practice.hands import Hands

NAME = "workbench"
FEED = {"repeats": 2, "marked_mm": 60.0, "length_mm": 30.0, "rate_mm_min": 60.0}
TROUBLE: tuple[dict[str, Any], ...] = (
    {},
    {"garble": 1},
    {"double_ok": 2},
    {"lose_ok": 1},
    {"corrupt": 2},
    {"corrupt": 1, "resend_without_ok": True},
    {"late": 1, "late_s": 0.3},
)
NO_TROUBLE = {"garble": 0, "double_ok": 0, "lose_ok": 0, "corrupt": 0, "late": 0}
CYCLES_A_CONNECTION = 8  # leaks of one connection, and of connecting, both show
GROWTH_MIB, GROWTH_SHARE = 3.0, 0.03  # of memory, from the second quarter to the last (ours)
ROWS = 24
LEAST_SAMPLES = 16


@dataclass
class Sample:
    """One look: own hours, and by process its MiB and its open handles."""

    hours: float
    mib: dict[str, float]
    handles: dict[str, int]


@dataclass
class Soak:
    """What came of it so far."""

    samples: list[Sample] = field(default_factory=list)
    ends: Counter[str] = field(default_factory=Counter)
    bugs: list[str] = field(default_factory=list)

    def look(self, hours: float) -> None:
        """One more sample."""
        self.samples.append(look(hours))

    def told(self, work: Callable[[], object], done: str | None = None) -> None:
        """Do something, and note how it ended: done, in the program's own words, or as a bug."""
        try:
            work()
            if done is not None:
                self.ends[done] += 1
        except BugError as error:
            self.bugs.append(str(error))
        except AsleftError as error:
            self.ends[f"{type(error).__name__}: {error.message[:60]}"] += 1
        except Exception as error:  # what nobody foresaw fails the soak, and does not end it
            self.bugs.append(repr(error))


def look(hours: float) -> Sample:
    """Memory and handles of this process and of its children by their parts."""
    sample = Sample(hours, {}, {})
    here = psutil.Process()
    for process in (here, *here.children(recursive=True)):
        with suppress(psutil.Error):
            line = " ".join(process.cmdline())
            parts = {"controller.owner": "owner", "asleft.practice": "practice"}
            name = next((parts[part] for part in parts if part in line), "")
            name = "program" if process == here else name
            if name:
                sample.mib[name] = process.memory_info().rss / 2**20
                sample.handles[name] = process.num_fds() if os.name == "posix" else 0
    return sample


def cycle(bench: Bench, hands: Hands, rng: np.random.Generator, seen: Callable[[], None]) -> None:
    """As found, a feed trial, a value set and stored, power off and on, the record closed."""
    steps: tuple[Callable[[], object], ...] = (
        bench.found,
        lambda: bench.trial("feed", {**FEED, "temperature_c": 205.0}),
        lambda: bench.set({"X": round(rng.uniform(79, 81), 2)}, from_findings=False, store=True),
        lambda: bench.prove(power_cycle_now=True),
        lambda: bench.record(close=True),
    )
    for step in steps:
        trouble = TROUBLE[int(rng.integers(len(TROUBLE)))]
        hands.ask("faults", **NO_TROUBLE, resend_without_ok=False)
        hands.ask("faults", **trouble)
        step()
        seen()


def connection(came: Soak, bench: Bench, hands: Hands, rng: np.random.Generator, day: Day) -> None:
    """Some cycles at one bench, with one owner of the line."""
    for _ in range(CYCLES_A_CONNECTION):
        if day.is_over:
            return
        came.told(lambda: cycle(bench, hands, rng, lambda: came.look(day.hours)), "to the end")


@dataclass
class Day:
    """Own hours by the wall."""

    wanted_h: float
    speed: float
    began_s: float = field(default_factory=time.monotonic)

    @property
    def hours(self) -> float:
        """Own hours gone."""
        return (time.monotonic() - self.began_s) * self.speed / 3600

    @property
    def is_over(self) -> bool:
        """Whether all have gone."""
        return self.hours >= self.wanted_h


def soak(hands: Hands, home: Path, day: Day, seed: int) -> Soak:
    """Cycles until the day is over."""
    rng, came = np.random.default_rng(seed), Soak()
    person = PracticePerson(hands, say=lambda _: None, progress=lambda *_: None)

    def at_a_bench() -> None:
        with Bench(home, person, holder="a soak", machine=NAME, address=hands.address) as bench:
            bench.describe_machine({"name": NAME, **hands.hello["machine"]})
            connection(came, bench, hands, rng, day)

    while not day.is_over:
        came.told(at_a_bench)
    return came


def report(came: Soak) -> bool:
    """Print the course, the ends and the verdict; whether it was flat and without bugs."""
    if len(came.samples) < LEAST_SAMPLES:
        print("too few samples: let it run longer")
        return False
    names = sorted({name for sample in came.samples for name in sample.mib})
    print("own hours  " + "".join(f"{name + ' MiB':>14}{'handles':>9}" for name in names))
    for sample in came.samples[:: max(1, len(came.samples) // ROWS)]:
        cells = (
            f"{sample.mib.get(name, 0):14.1f}{sample.handles.get(name, 0):9d}" for name in names
        )
        print(f"{sample.hours:9.2f}  " + "".join(cells))
    for end, count in came.ends.most_common():
        print(f"{count:6d}  {end}")
    for bug in came.bugs:
        print(f"   bug  {bug}")
    flat = [flat_of(name, came.samples) for name in names]
    return all(flat) and bool(flat) and not came.bugs and came.ends["to the end"] > 0


def flat_of(name: str, samples: list[Sample]) -> bool:
    """Whether memory and handles of one process are the same in the second and the last quarter."""
    quarter = max(2, len(samples) // 4)
    second, last = samples[quarter : 2 * quarter], samples[-quarter:]
    mib = [statistics.median(s.mib[name] for s in part if name in s.mib) for part in (second, last)]
    handles = [max(s.handles[name] for s in part if name in s.handles) for part in (second, last)]
    grown = mib[1] - mib[0]
    flat = grown <= max(GROWTH_MIB, GROWTH_SHARE * mib[0]) and handles[1] <= handles[0]
    print(
        f"{name}: {mib[0]:.1f} to {mib[1]:.1f} MiB, at most {handles[0]} to {handles[1]} handles: "
        f"{'flat' if flat else 'NOT FLAT'}"
    )
    return flat


def main() -> int:
    """Run a day; status 1 where something grew or broke."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--hours", type=float, default=24.0, help="own hours")
    parser.add_argument("--speed", type=float, default=300.0, help="own seconds a wall second")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    with (
        tempfile.TemporaryDirectory() as home,
        Hands(options.seed, "cartesian", options.speed) as hands,
    ):
        came = soak(hands, Path(home), Day(options.hours, options.speed), options.seed)
    return 0 if report(came) else 1


if __name__ == "__main__":
    sys.exit(main())
