"""What an experiment is: many machines, one after the other, each giving a few numbers.

An experiment names its columns by returning them; a missing one is NaN. The seed of every
machine follows from the run's seed, the experiment and the machine's number alone, so that the
page does not depend on how the work was shared out.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from benchmarks.accuracy.machine import Array

Numbers = Mapping[str, float]


class Experiment(Protocol):
    """One row or block of the page."""

    @property
    def name(self) -> str:
        """Unique; also the seed's salt."""
        ...

    def one(self, rng: np.random.Generator) -> Numbers:
        """One machine."""
        ...


@dataclass(frozen=True)
class Chunk:
    """Machines `first` to `last` − 1 of an experiment."""

    experiment: Experiment
    seed: int
    first: int
    last: int

    def run(self) -> tuple[str, int, list[Numbers]]:
        """Name, first machine, and the numbers of each."""
        salt = zlib.crc32(self.experiment.name.encode())
        found = [
            self.experiment.one(np.random.default_rng([self.seed, salt, k]))
            for k in range(self.first, self.last)
        ]
        return self.experiment.name, self.first, found


@dataclass(frozen=True)
class Table:
    """Numbers of all machines of an experiment by column, each (machines,)."""

    columns: Mapping[str, Array]
    machines: int

    @classmethod
    def of(cls, rows: list[Numbers]) -> Table:
        """Columns from rows; what a row has not is NaN."""
        names = list(dict.fromkeys(name for row in rows for name in row))
        columns = {n: np.array([row.get(n, np.nan) for row in rows], dtype=float) for n in names}
        return cls(columns, len(rows))

    def get(self, *names: str) -> Array:
        """Columns one after the other, without NaN."""
        parts = [self.columns[n] for n in names if n in self.columns]
        values = np.concatenate(parts) if parts else np.zeros(0)
        return values[~np.isnan(values)]

    def share(self, *names: str) -> Share:
        """The share of ones in columns of zeros and ones."""
        values = self.get(*names)
        return Share(float(values.sum()), values.size)

    def rms(self, *names: str) -> float:
        """Root mean square, NaN without values."""
        values = self.get(*names)
        return float(np.sqrt(np.mean(values**2))) if values.size else float("nan")


@dataclass(frozen=True)
class Share:
    """So many of so many."""

    hits: float
    of: int

    @property
    def value(self) -> float:
        """The share, NaN of none."""
        return self.hits / self.of if self.of else float("nan")

    @property
    def u(self) -> float:
        """Its standard uncertainty from the number of machines (binomial)."""
        p = self.value
        return float(np.sqrt(max(p * (1 - p), 1 / max(self.of, 1) / 4) / max(self.of, 1)))
