"""Sharing the machines out to two processes, with a bar that tells the time remaining.

Nothing is measured here. Results are the same however many processes take part.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed

from benchmarks.accuracy.experiment import Chunk, Experiment, Numbers, Table

CHUNK = 50
PROCESSES = 2


def run_all(experiments: Sequence[Experiment], seed: int, machines: int) -> dict[str, Table]:
    """Every experiment with so many machines, by name."""
    for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ[threads] = "1"  # inherited; small matrices lose by sharing
    chunks = [
        Chunk(e, seed, first, min(first + CHUNK, machines))
        for e in experiments
        for first in range(0, machines, CHUNK)
    ]
    parts: dict[str, list[tuple[int, list[Numbers]]]] = {e.name: [] for e in experiments}
    with ProcessPoolExecutor(PROCESSES) as pool:
        for name, first, numbers in _watched(pool, chunks, machines * len(experiments)):
            parts[name].append((first, numbers))
    return {
        name: Table.of([row for _, rows in sorted(found, key=lambda p: p[0]) for row in rows])
        for name, found in parts.items()
    }


def _watched(  # type: ignore[no-untyped-def]
    pool: ProcessPoolExecutor, chunks: list[Chunk], total: int
):
    """Results as they come, under a bar on standard error."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
    from rich.progress import TimeElapsedColumn, TimeRemainingColumn  # isort: skip

    columns = (TextColumn("machines"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn(),
               TextColumn("remaining"), TimeRemainingColumn())  # fmt: skip
    with Progress(*columns, console=Console(stderr=True)) as bar:
        task = bar.add_task("machines", total=total)
        for done in as_completed([pool.submit(chunk.run) for chunk in chunks]):
            name, first, numbers = done.result()
            bar.advance(task, len(numbers))
            yield name, first, numbers
