"""Repeats summed by place, so that ten thousand readings cost little more than their places.

A place is its name and where the jaws go; a reading without a name is a place of its own.
Stands on `design` for the arrays and on `scatter` for what repeats tell.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from asleft.measure.linear import Array, Mask
from asleft.measure.readings import SpanReading
from asleft.measure.span.design import Places
from asleft.measure.span.scatter import PlaceSums


@dataclass(frozen=True)
class Summed:
    """Places, their sums and their mean readings (n,) in mm."""

    places: Places
    sums: PlaceSums
    means_mm: Array


def sum_by_place(
    observed: Array, place: NDArray[np.intp], every: Places, kept: Mask, floor_sd_mm: float
) -> Summed:
    """Means and within-place scatter of the readings kept.

    Args:
        observed: (n,) readings in mm. place: (n,) number of each one's place; every: where
            the jaws went. kept: mask (n,).
        floor_sd_mm: no place mean is better than this (rounding to the last digit).
    """
    chosen = np.flatnonzero(kept)
    names, group = np.unique(place[chosen], return_inverse=True)
    n = names.size
    count = np.bincount(group, minlength=n).astype(float)
    values = observed[chosen]
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


def number_places(readings: Sequence[SpanReading]) -> NDArray[np.intp]:
    """The number (n,) of the place of each reading, counted as they come."""
    numbers: dict[object, int] = {}
    return np.array(
        [
            numbers.setdefault(
                (r.place, r.direction, r.faces, r.nominal_mm) if r.place else i, len(numbers)
            )
            for i, r in enumerate(readings)
        ],
        dtype=np.intp,
    )
