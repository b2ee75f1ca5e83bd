"""Whole evenings on the practice machine, one after the other: errors left, endings, seconds.

Each is `asleft practice --unattended` as a person would start it. For a quantity that came out
beyond its tolerance the record of that evening tells which verdict left it.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from benchmarks.accuracy.aims import Figure
from benchmarks.practice import evening, is_within, limits, proposals

ENDS = ("stored", "survived_power_cycle", "proved")


@dataclass(frozen=True)
class Miss:
    """What came out beyond its tolerance: relative errors, rad for shear."""

    seed: int
    what: str
    hidden: float
    left: float
    verdict: str


@dataclass(frozen=True)
class Evening:
    """One evening: seconds, whether within, which ends were reached, what missed."""

    seed: int
    seconds: float
    within: bool
    ends: tuple[bool, ...]
    misses: tuple[Miss, ...]
    failed: str = ""


def run_evenings(count: int) -> list[Evening]:
    """Seeds 1 to `count`, in one home."""
    with tempfile.TemporaryDirectory() as home:
        return list(_all(count, home))


def _all(count: int, home: str) -> Iterator[Evening]:
    for seed in range(1, count + 1):
        told, seconds, words = evening(seed, home)
        text = f"evening {seed} of {count}, {seconds:.1f} s"
        print(text, end="\n" if seed == count else "\r", file=sys.stderr, flush=True)
        yield _judged(seed, told, seconds, words, home)


def _judged(
    seed: int, told: dict[str, Any] | None, seconds: float, words: str, home: str
) -> Evening:
    if told is None:
        return Evening(seed, seconds, False, (False,) * len(ENDS), (), " ".join(words.split()))
    within = is_within(told["residual"])
    ends = tuple(bool(told[k]) for k in ENDS)
    return Evening(seed, seconds, within, ends, () if within else _misses(seed, told, home))


def _misses(seed: int, told: dict[str, Any], home: str) -> tuple[Miss, ...]:
    """Every quantity beyond its limit with the last verdict on it."""
    said = proposals(home, told["calibration"])
    return tuple(
        Miss(seed, name, told["hidden"][name], told["residual"][name],
             said.get("XY" if name == "shear_xy" else name, "none in the record"))
        for name, limit in limits().items()
        if abs(told["residual"][name]) > limit
    )  # fmt: skip


def figures(evenings: list[Evening]) -> list[Figure]:
    """The lines with an aim, each named even where no evening was run."""
    n = len(evenings)
    within = sum(e.within for e in evenings)
    ended = sum(all(e.ends) for e in evenings)
    seconds = [e.seconds for e in evenings]
    none = "not run"
    least = 39 * n / 40
    return [
        Figure("practice evenings within 0.1 %, 1 % and 1 mrad", f"{within} of {n}" if n else none,
               "≥ 39 of 40", within >= least if n else None),
        Figure("practice evenings stored, survived and proved", f"{ended} of {n}" if n else none,
               "all", ended == n if n else None),
        Figure("practice evening: median time",
               f"{statistics.median(seconds):.1f} s" if n else none, "≤ 15 s",
               statistics.median(seconds) <= 15 if n else None),
        Figure("practice evening: slowest", f"{max(seconds):.1f} s" if n else none, "reported",
               None),
    ]  # fmt: skip
