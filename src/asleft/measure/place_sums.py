"""Repeats summed by place, so that ten thousand readings cost little more than their places.

A place is its name and where the jaws go; a reading without a name is a place of its own.
Stands on `design` for the arrays and on `scatter` for what repeats tell.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from asleft.measure.design import Places
from asleft.measure.linear import Array, Mask
from asleft.measure.readings import SpanReading
from asleft.measure.scatter import PlaceSums


@dataclass(frozen=True)
class Summed:
    """Places, their sums and their mean readings (n,) in mm."""

    places: Places
    sums: PlaceSums
    means_mm: Array


def sum_by_place(
    readings: Sequence[SpanReading], every: Places, kept: Mask, floor_sd_mm: float
) -> Summed:
    """Means and within-place scatter of the readings kept.

    Args:
        readings: n rows; every: the same as arrays. kept: mask (n,).
        floor_sd_mm: no place mean is better than this (rounding to the last digit).
    """
    chosen = np.flatnonzero(kept)
    group, n = _groups(readings, chosen)
    count = np.bincount(group, minlength=n).astype(float)
    values = np.array([readings[int(i)].reading_mm for i in chosen], dtype=float)
    means = np.bincount(group, weights=values, minlength=n) / count
    first = np.zeros(n, dtype=np.intp)
    first[group[::-1]] = chosen[::-1]
    places = every.take(first)
    within = np.bincount(group, weights=(values - means[group]) ** 2, minlength=n)
    z = places.is_z
    sums = PlaceSums(
        count=count,
        is_z=z,
        within_mm2=(float(within[~z].sum()), float(within[z].sum())),
        within_dof=(int((count[~z] - 1).sum()), int((count[z] - 1).sum())),
        floor_mm2=floor_sd_mm**2,
    )
    return Summed(places, sums, means)


def _groups(
    readings: Sequence[SpanReading], chosen: NDArray[np.intp]
) -> tuple[NDArray[np.intp], int]:
    numbers: dict[object, int] = {}
    group = np.empty(chosen.size, dtype=np.intp)
    for k, i in enumerate(chosen):
        r = readings[int(i)]
        key = (r.place, r.direction, r.faces, r.nominal_mm) if r.place else int(i)
        group[k] = numbers.setdefault(key, len(numbers))
    return group, len(numbers)
