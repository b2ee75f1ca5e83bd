"""Readings of the same thing that disagree: a misread among three or more, a doubt between two.

For trials that read each place several times; the span trial, which has many places and few
repeats, has its own way (`misread`). Stands on `result`.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Sequence

from asleft.measure.result import SetAside

LEAST_MM = 0.1  # a smaller slip of the eye cannot be told from scatter
TIMES = 6.0  # of the typical scatter, which misreads do not touch


def off_their_like(
    groups: Iterable[Sequence[tuple[int, float]]], thing: str
) -> tuple[tuple[SetAside, ...], str | None]:
    """Find readings far from the others of their group.

    Args:
        groups: for each thing read, its (row, reading in mm). thing: in words, `target`.

    Returns:
        What to set aside, by row; and a contradiction in words where two disagree and nobody can
        say which is wrong, or None.
    """
    off = []
    for group in groups:
        if len(group) > 1:
            middle = statistics.median(reading for _, reading in group)
            off += [(reading - middle, row, reading, len(group)) for row, reading in group]
    if not off:
        return (), None
    typical = 1.4826 * statistics.median(abs(by) for by, *_ in off)  # sd of a normal scatter
    limit = max(TIMES * typical, LEAST_MM)
    far = sorted((o for o in off if abs(o[0]) > limit), key=lambda o: o[1])
    aside = tuple(
        SetAside(row, reading, f"{by:+.2f} mm off the others at this {thing}; measure it again")
        for by, row, reading, like in far
        if like > 2
    )
    pairs = ", ".join(str(row) for _, row, _, like in far if like == 2)
    doubt = f"rows {pairs} contradict each other: measure these {thing}s again" if pairs else None
    return aside, doubt
