"""Sharing the machines out to two processes, with a bar that tells the time remaining.

Nothing is measured here. Results are the same however many processes take part.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed

from benchmarks.accuracy.experiment import Chunk, Experiment, Numbers, Table

CHUNK = 50
PROCESSES = 2
TELL_EVERY = 0.05


def run_all(experiments: Sequence[Experiment], seed: int, machines: int) -> dict[str, Table]:
    """Every experiment with so many machines, by name."""
    chunks = [
        Chunk(e, seed, first, min(first + CHUNK, taken(e, machines)))
        for e in experiments
        for first in range(0, taken(e, machines), CHUNK)
    ]
    parts: dict[str, list[tuple[int, list[Numbers]]]] = {e.name: [] for e in experiments}
    total = sum(taken(e, machines) for e in experiments)
    with ProcessPoolExecutor(PROCESSES) as pool:
        for name, first, numbers in _watched(pool, chunks, total):
            parts[name].append((first, numbers))
    return {
        name: Table.of([row for _, rows in sorted(found, key=lambda p: p[0]) for row in rows])
        for name, found in parts.items()
    }


def taken(experiment: Experiment, machines: int) -> int:
    """How many machines an experiment takes: some need more than a row's, some have enough sooner.

    `times` is that number over a row's, 1 where the experiment does not say.
    """
    return max(1, round(machines * getattr(experiment, "times", 1.0)))


def _watched(
    pool: ProcessPoolExecutor, chunks: list[Chunk], total: int
) -> Iterator[tuple[str, int, list[Numbers]]]:
    """Results as they come, with a bar on standard error; off a terminal a line now and then."""
    began, done, told = time.monotonic(), 0, 0.0
    live = sys.stderr.isatty()
    for future in as_completed([pool.submit(chunk.run) for chunk in chunks]):
        name, first, numbers = future.result()
        done += len(numbers)
        share = done / total
        if live or share - told >= TELL_EVERY or done == total:
            told = share
            left_s = (time.monotonic() - began) * (1 - share) / share
            bar = "#" * round(30 * share)
            text = f"[{bar:30}] {done} of {total} machines, {left_s / 60:.1f} min left"
            print(text, end="\r" if live and done < total else "\n", file=sys.stderr, flush=True)
        yield name, first, numbers
