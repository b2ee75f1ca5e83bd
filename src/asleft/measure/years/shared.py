"""A caliper that moves every machine it is used on, told from machines that move by themselves.

All series that one instrument read, each with a level of its own, against one step or one slope
common to them. Claimed only where several machines say so alike. Stands on `candidates`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from asleft.measure.chance import f_upper_tail, probability_below
from asleft.measure.linear import Array
from asleft.measure.years.candidates import FALSE_ALARM, Candidates, compare, scatter_of
from asleft.measure.years.drift import FEWEST, SURE, Call, Series, shown

ALONE = 0.05  # without any one machine the others must still show it
ALIKE = 0.01  # below this the machines do not move alike
_ODD = 3.5  # stated uncertainties from the others: a series that moves by itself; ours
_CLIP = 12.0  # squares beyond the usual: more than this one series may not weigh
_TIMES = 48  # steps tried, evenly over the calibrations


@dataclass(frozen=True)
class Common:
    """What an instrument did to all it read: `call`, and by how much.

    `size` and `u` are the step, or the slope per year, relative (as it reads too long);
    `since_years` when it begins, None where nothing is claimed; `slope` which of the two it is,
    the likelier one where the call is `changed`. `machines` were compared.
    """

    call: Call
    reason: str
    p: float
    machines: int
    since_years: float | None = None
    size: float | None = None
    u: float | None = None
    slope: bool = False

    def in_series(self, series: Series, instrument: str) -> Array:
        """What this adds to the values of a series, (n,); zeros where nothing is claimed."""
        mine = np.array([name == instrument for name in series.instrument])
        if self.since_years is None or self.size is None:
            return np.zeros(mine.size)
        moved = self.size * _column(series.at_years, self.since_years, slope=self.slope)
        return np.where(mine, moved, 0.0)


@dataclass(frozen=True)
class _Pool:
    """All values one after the other, whitened, each series and instrument a group."""

    at_years: Array
    mine: NDArray[np.bool_]
    weight: Array
    value: Array
    group: NDArray[np.intp]
    series: NDArray[np.intp]
    machine: NDArray[np.intp]

    def clear(self, columns: Array) -> Array:
        """Whitened columns (n, m) less the level of each group."""
        white = columns * self.weight[:, None]
        count = int(self.group.max()) + 1
        below = np.maximum(np.bincount(self.group, self.weight**2, count), 1e-300)
        for j in range(white.shape[1]):
            mean = np.bincount(self.group, white[:, j] * self.weight, count) / below
            white[:, j] -= self.weight * mean[self.group]
        return white

    def only(self, mask: NDArray[np.bool_]) -> _Pool:
        """The values of a mask."""
        names = ("at_years", "mine", "weight", "value", "group", "series", "machine")
        return _Pool(*(getattr(self, name)[mask] for name in names))


def judge_instrument(series: Sequence[Series], instrument: str) -> Common:
    """Whether an instrument moved all machines it was used on; `unknown` where few can tell.

    Args:
        series: of the kinds that its error moves alike (relative sizes), of all its machines.
        instrument: its name, as in the series.
    """
    pool = _pool([s for s in series if instrument in s.instrument], instrument)
    machines = 0 if pool is None else np.unique(pool.machine).size
    if pool is None or machines < 2:  # nothing to compare
        return Common("unknown", "it was used on one machine: nothing to tell it by", 1.0, machines)
    if np.unique(pool.at_years[pool.mine]).size < FEWEST:
        return Common("unknown", "too few calibrations to tell", 1.0, machines)
    pool = pool.only(~_of_their_own(pool))
    if np.unique(pool.machine[pool.mine]).size < 2:
        return Common("unknown", "its machines move by themselves", 1.0, machines)
    columns, candidates = _candidates(pool)
    taken = np.unique(pool.group).size
    rest = pool.clear(pool.value[:, None])[:, 0]
    best = compare(rest, columns, candidates, taken)
    steady = Common("steady", "its machines do not move together", best.p, machines)
    if best.p >= FALSE_ALARM:
        return steady
    is_slope = best.slope_odds > 0.5 or best.step is None
    chosen = candidates.slope.size - 1 if is_slope else int(best.step or 0)
    size, u, _ = _size(rest, columns[:, chosen], taken)
    if not _alike(pool, columns[:, chosen], rest, size):
        return steady
    since = float(pool.at_years[pool.mine].min() if is_slope else _times(pool)[chosen])
    call: Call = "drift" if is_slope else "step"
    if max(best.slope_odds, 1 - best.slope_odds) < SURE:
        call = "changed"
    reason = _words(machines, size, u, " a year" if is_slope else "")
    return Common(call, reason, best.p, machines, since, size, u, is_slope)


def _of_their_own(pool: _Pool) -> NDArray[np.bool_]:
    """Values of series that move otherwise than the median of all does: they are no witnesses.

    For each step or slope tried, every series has an estimate of its own; the median of them is
    hardly moved by the few that have a step or drift themselves.
    """
    columns, _ = _candidates(pool)
    rest = pool.clear(pool.value[:, None])[:, 0]
    along, square = _by_series(pool, columns * rest[:, None]), _by_series(pool, columns**2)
    seen = square > 0
    own = np.where(seen, along / np.where(seen, square, 1.0), 0.0)
    median = np.array([_median(own[:, j], square[:, j]) for j in range(own.shape[1])])
    left = _by_series(pool, (rest**2)[:, None]) - 2 * median * along + median**2 * square
    most = _by_series(pool, np.ones((rest.size, 1))) + _CLIP  # no series says more than this
    likeliest = int(np.argmin(np.minimum(left, most).sum(axis=0)))
    rest = rest - median[likeliest] * columns[:, likeliest]
    own = np.abs(_by_series(pool, columns * rest[:, None]))
    odd = np.max(np.where(seen, own / np.sqrt(np.where(seen, square, 1.0)), 0.0), axis=1) > _ODD
    return np.asarray(odd[pool.series])


def _by_series(pool: _Pool, rows: Array) -> Array:
    """Sums (series, m) of rows (n, m)."""
    count = int(pool.series.max()) + 1
    return np.column_stack([np.bincount(pool.series, column, count) for column in rows.T])


def _median(values: Array, weight: Array) -> float:
    """Weighted median."""
    order = np.argsort(values)
    below = np.cumsum(weight[order])
    return float(values[order][np.searchsorted(below, below[-1] / 2)])


def _words(machines: int, size: float, u: float, a_year: str) -> str:
    return (
        f"it moves all {machines} machines alike, by {shown(size, '1')}{a_year} ±"
        f" {shown(2 * u, '1', signed=False)}: check it on a known length first, then what those"
        " machines share, such as the room"
    )


def _pool(series: Sequence[Series], instrument: str) -> _Pool | None:
    if not series:
        return None
    names = {name: k for k, name in enumerate(sorted({s.machine for s in series}))}
    group, start = [], 0
    for each in series:
        used, index = np.unique(each.instrument, return_inverse=True)
        group.append(index + start)
        start += used.size
    weight = 1 / np.concatenate([s.u for s in series])
    return _Pool(
        np.concatenate([s.at_years for s in series]),
        np.concatenate([np.array(s.instrument) == instrument for s in series]),
        weight,
        np.concatenate([s.value for s in series]),
        np.concatenate(group),
        np.concatenate([np.full(s.value.size, k) for k, s in enumerate(series)]),
        np.concatenate([np.full(s.value.size, names[s.machine]) for s in series]),
    )


def _times(pool: _Pool) -> Array:
    """When steps are tried: at the instrument's calibrations but the first."""
    times = np.unique(pool.at_years[pool.mine])[1:]
    few = np.linspace(0, times.size - 1, min(_TIMES, times.size)).astype(int)
    return np.asarray(times[few], dtype=float)


def _column(at_years: Array, since_years: float, *, slope: bool) -> Array:
    since = at_years - since_years
    return np.asarray(np.maximum(since, 0.0) if slope else since >= 0, dtype=float)


def _candidates(pool: _Pool) -> tuple[Array, Candidates]:
    times = _times(pool)
    steps = [_column(pool.at_years, float(at), slope=False) * pool.mine for at in times]
    first = float(pool.at_years[pool.mine].min())
    slope = _column(pool.at_years, first, slope=True) * pool.mine
    columns = np.column_stack([*steps, slope])
    share = np.append(np.full(times.size, 0.5 / times.size), 0.5)
    is_slope = np.arange(columns.shape[1]) == times.size
    return pool.clear(columns), Candidates(columns * pool.weight[:, None], share, is_slope)


def _size(rest: Array, column: Array, taken: int) -> tuple[float, float, float]:
    """A column's coefficient, its u with the scatter seen, and t's probability (two-sided)."""
    square = float(column @ column)
    size = float(column @ rest) / square
    scatter, dof = scatter_of(rest - size * column, taken + 1)
    u = scatter / float(np.sqrt(square))
    return size, u, 2 * probability_below(-abs(size) / u, dof)


def _alike(pool: _Pool, column: Array, rest: Array, size: float) -> bool:
    """Every machine moves as the others do, and without any one of them it still shows."""
    squares, count = 0.0, 0
    for number in np.unique(pool.machine):
        own, others = pool.machine == number, pool.machine != number
        if float(column[own] @ column[own]) == 0.0:
            continue
        if float(column[others] @ column[others]) == 0.0:
            return False
        left, _, p = _size(rest[others], column[others], np.unique(pool.group[others]).size)
        if p >= ALONE or left * size <= 0:
            return False
        own_size = float(column[own] @ rest[own]) / float(column[own] @ column[own])
        squares += (own_size - size) ** 2 * float(column[own] @ column[own])
        count += 1
    scatter, dof = scatter_of(rest - size * column, np.unique(pool.group).size + 1)
    return count >= 2 and f_upper_tail(squares / scatter**2 / (count - 1), count - 1.0, dof) > ALIKE
