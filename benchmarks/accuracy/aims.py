"""The figures that have an aim: measured, with how well they are known, and whether they meet it.

A figure whose aim lies within two standard uncertainties is judged by its value alone; the
uncertainty is printed beside it. Takes tables of results, makes no page.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from benchmarks.accuracy.bound import bound
from benchmarks.accuracy.experiment import Share, Table
from benchmarks.accuracy.spans import MAP, SpanCase, cases

COVERED = (0.93, 0.97)
Tables = Mapping[str, Table]


@dataclass(frozen=True)
class Figure:
    """One line: what, measured with its uncertainty, aim in words, met or not (None: reported)."""

    what: str
    measured: str
    aim: str
    met: bool | None


def over_bound(case: SpanCase, table: Table, keys: tuple[str, ...]) -> tuple[float, float]:
    """rms error over the bound, pooled over `keys`, and its standard uncertainty."""
    least = bound(case.shape, case.hidden, case.instrument)
    names = {"shear XY": "shear", "first layer": "layer"}
    parts = [
        table.get(f"error {k}") / least[names.get(k, k.replace(" ", "_"))]
        for k in keys
        if f"error {k}" in table.columns
    ]
    if not parts:
        return float("nan"), float("nan")
    ratios = np.concatenate(parts)
    square = float(np.mean(ratios**2))
    spread = float(np.std(ratios**2, ddof=1)) / ratios.size**0.5 if ratios.size > 1 else np.nan
    return square**0.5, spread / (2 * square**0.5)


def efficiency(tables: Tables) -> list[Figure]:
    """How near to the bound the errors come, without and with misreads."""
    found = []
    for case in cases()[:4]:
        aim = 1.15 if case.hidden.misreads else 1.05
        ratio, u = over_bound(case, tables[case.name], ("scale X", "scale Y"))
        what = f"rms error of printed scale X, Y over the bound: {case.name}"
        found.append(Figure(what, f"{ratio:.3f} ± {u:.3f}", f"≤ {aim}", ratio <= aim))
    return found


def misreads(tables: Tables) -> list[Figure]:
    """Misreads found, good readings wronged, coverage among misreads."""
    found = []
    for case in cases()[2:4]:
        t = tables[case.name]
        missed = Share(t.get("missed").sum(), int(t.get("slips").sum()))
        wronged = Share(t.get("wronged").sum(), int(t.get("good").sum()))
        left_in = t.columns["missed"] > 0
        told = Share(float(t.columns["inspect"][left_in].sum()), int(left_in.sum()))
        lowest = min(t.share(f"hit {k}").value for k in MAP)
        found += [
            Figure(f"misreads not set aside: {case.name}", _of(missed), "reported", None),
            Figure(f"machines with one left in, told to inspect: {case.name}", _of(told),
                   "reported", None),
            Figure(f"good readings set aside: {case.name}", _of(wronged), "≤ 1 in 200",
                   wronged.value <= 1 / 200),
            Figure(f"lowest coverage of scale and shear: {case.name}", f"{lowest:.3f}", "≥ 0.93",
                   lowest >= COVERED[0]),
        ]  # fmt: skip
    return found


def decisions(tables: Tables) -> list[Figure]:
    """What verdicts do to sound and to bad machines, and advice on more readings."""
    sound, bad = tables["sound machines"], tables["bad machines"]
    habit = tables["cube habit"]
    ratio = habit.rms("habit X", "habit Y") / habit.rms("error scale X", "error scale Y")
    told = sound.share(*(f"told {k}" for k in MAP))
    mended = bad.share(*(f"mended {k}" for k in ("scale X", "scale Y", "shear XY")))
    heights = bad.share("mended scale Z")
    feed_sound, feed_bad = tables["feed within T/2"], tables["feed off by 2T or more"]
    more = [t for name, t in tables.items() if name.startswith("undecided")]
    new = _joined(more, "decided new")
    same = _joined(more, "decided same")
    return [
        Figure("cube habit's rms error over ours, X and Y", f"{ratio:.1f}", "≥ 25", ratio >= 25),
        _share("within T/2 (uniform), u ≤ T/4: told to change", told, 0.025, at_most=True),
        _share("off by 2T or more, X, Y, shear: adjusted and within T after", mended, 0.98),
        Figure("the same for Z, whose u is above T/4 here", _of(heights), "reported", None),
        _share("feed within T/2: told to change", feed_sound.share("told"), 0.025, at_most=True),
        _share("feed off by 2T or more: adjusted and within T after", feed_bad.share("mended"),
               0.98),
        _share("told n more at places not read yet: decided by them", new, 0.80),
        Figure("told n more at the same places: decided by them", _of(same), "≥ 0.8 (few)",
               same.value >= 0.8 if same.of >= 30 else None),
        _share("feed, told n more: decided by them", tables["feed undecided"].share("decided"),
               0.80),
    ]  # fmt: skip


def proofs(tables: Tables) -> list[Figure]:
    """The second piece: inside as often as said, refused where it is another."""
    true, other = tables["second piece as changed"], tables["second piece, X 0.2 % otherwise"]
    inside = float(true.get("inside").mean())
    refused = 1 - true.share("holds").value
    return [
        Figure("second piece: places inside their 95 % interval", f"{inside:.3f}", "0.93 to 0.98",
               COVERED[0] <= inside <= 0.98),
        Figure("second piece as changed: proof refused", f"{refused:.4f}", "≤ 0.01",
               refused <= 0.01),
        Figure("X 0.2 % otherwise than said: proof refused",
               _of(Share(other.get("holds").size - other.get("holds").sum(),
                         other.get("holds").size)), "reported", None),
    ]  # fmt: skip


def _joined(tables: list[Table], word: str) -> Share:
    hits, of = 0.0, 0
    for t in tables:
        share = t.share(*(f"{word} {k}" for k in MAP))
        hits, of = hits + share.hits, of + share.of
    return Share(hits, of)


def _share(what: str, share: Share, aim: float, *, at_most: bool = False) -> Figure:
    met = share.value <= aim if at_most else share.value >= aim
    return Figure(what, _of(share), f"{'≤' if at_most else '≥'} {aim:g}", bool(met))


def _of(share: Share) -> str:
    if not share.of:
        return "there was none"
    return f"{share.value:.4f} ± {share.u:.4f} (of {share.of})"
