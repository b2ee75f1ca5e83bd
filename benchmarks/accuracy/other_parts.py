"""Parts of the page beside span: feed, slip, the other trials, practice, advice, time.

From results alone; every number was handed in.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from benchmarks.accuracy import aims, feeding, others, practised, slipping
from benchmarks.accuracy.markdown import size
from benchmarks.accuracy.markdown import table as as_table
from benchmarks.accuracy.spans import MAP
from benchmarks.accuracy.speed import Timed

SLIP_WORDS = (
    "Feeds at eight rates, 0.3 % of scatter unless the case says otherwise; the onset is the rate"
    " where 1 % is lost, the fall beyond it is drawn anew for every machine. A bracket holds when"
    " its lower end, where one is given, is not above the onset and its upper end, where one"
    " is given, is not below it.\n"
)
OTHER_WORDS = (
    "Machines as many as the last column says. `error/u` is the rms of error over stated standard"
    " uncertainty; not answered is the share of machines where too little was tried for an"
    " interval with two ends. The scatter of bores marked ¹ is held at twice what"
    " the solver takes for usual, and is reported without an aim; in the case drawn anew it is"
    " drawn as the solver takes it to be.\n"
)
FIT_WORDS = (
    "A shaft tried in the order of the trial on a simulated workshop: bores oval and scattering"
    " from one to the next, a hand that feels, a caliper with a zero of its own, a play of 0.05 to"
    " 0.15 mm. Bores scatter by 0.004 to 0.025 mm rms where they are smooth, 0.015 to 0.035 where"
    " rough, 0.004 to 0.045 where any, drawn anew for every machine. *Turned* is the share of"
    " parts that turned when drawn as the trial proposed, beside what it stated on average;"
    " *same part* and *another* are clearances asked of `asleft allow`. Tries by 0.05 mm hardly"
    " tell how much bores scatter, so that the trial takes them to be like other printed faces"
    " (0.02 mm, a factor of two either way): where they are smooth, more turn than stated and"
    " intervals are wider than need be. A second piece tells more.\n"
)
PRACTICE_WORDS = (
    "Its pieces have effects that no solver models: corner bulge, jaw tilt and bending, periodic"
    " screw and pulley error, drift over a piece, slack, slips of the eye. Bias, error and coverage"
    " stand as they came; nothing was tuned to them.\n"
)


MORE_WORDS = (
    "Machines near the border of their tolerance, told a number of further readings; the readings"
    " were then taken from the same piece as the advice said, and solved again.\n"
)


def feeds(tables: aims.Tables) -> str:
    """Fed ratio: error and coverage."""
    rows = []
    for case in feeding.cases():
        t = tables[case.name]
        share = t.share("hit")
        rows.append((case.name, f"{t.rms('error') * 100:.4f} %", f"{t.rms('u') * 100:.4f} %",
                     f"{share.value:.3f} ± {share.u:.3f}"))  # fmt: skip
    return as_table(("case", "rms error", "rms u", "coverage"), rows)


def practice(tables: aims.Tables) -> str:
    """Bias, error and coverage on the practice machine."""
    rows = []
    for case in practised.cases():
        t = tables[case.name]
        for key in ("scale X", "scale Y", "scale Z", "shear XY"):
            share, error = t.share(f"hit {key}"), t.get(f"error {key}")
            habit = t.rms(f"habit {key[-1]}") if f"habit {key[-1]}" in t.columns else np.nan
            ratio = "" if np.isnan(habit) else f"{habit / t.rms(f'error {key}'):.1f}"
            name = key if key.startswith("shear") else "scale"
            rows.append((case.name, key, size(float(error.mean()), name),
                         size(t.rms(f"error {key}"), name), size(t.rms(f"u {key}"), name),
                         f"{share.value:.3f} ± {share.u:.3f}", ratio))  # fmt: skip
    head = ("piece", "quantity", "bias", "rms error", "rms u", "coverage", "cube habit over ours")
    return as_table(head, rows)


def more(tables: aims.Tables) -> str:
    """What became of the advice to take more."""
    rows = []
    for name, t in tables.items():
        if not name.startswith("undecided"):
            continue
        for key in MAP:
            for word, words in (("new", "places not read yet"), ("same", "the same places")):
                share = t.share(f"decided {word} {key}")
                if share.of:
                    more = float(np.median(t.get(f"more {word} {key}")))
                    rows.append((name, key, words, str(share.of), f"{more:.0f}",
                                 f"{share.value:.3f} ± {share.u:.3f}"))  # fmt: skip
    return as_table(("piece", "quantity", "where", "told", "median n", "decided"), rows)


def times(timed: Iterable[Timed]) -> str:
    """Seconds by number of readings."""
    rows = [(str(t.readings), t.what, f"{t.median_s * 1e3:.1f} ms", f"{t.slowest_s * 1e3:.1f} ms")
            for t in timed]  # fmt: skip
    return as_table(("readings", "", "median", "slowest"), rows)


def slips(tables: aims.Tables) -> str:
    """Onsets seen, brackets that hold, and how wide they are."""
    rows = []
    for case in slipping.cases():
        t = tables[case.name]
        seen, both = t.share("seen"), t.share("bracketed")
        holds, closed = t.share("holds"), t.share("holds both")
        width = t.get("width")
        rows.append((case.name, str(t.machines), f"{seen.value:.4f}", f"{both.value:.3f}",
                     f"{holds.value:.4f} ± {holds.u:.4f}",
                     f"{closed.value:.4f} ± {closed.u:.4f}" if closed.of else "",
                     f"{np.median(width):.0f} mm/min" if width.size else "",
                     f"{t.rms('off'):.0f} mm/min" if closed.of else ""))  # fmt: skip
    head = ("case", "machines", "slip seen", "both ends", "holds", "holds, both ends",
            "median width", "rms error of the guess within")  # fmt: skip
    return as_table(head, rows)


def trials(tables: aims.Tables) -> str:
    """Coverage of traverse, bead and fit."""
    rows = []
    for case in others.cases():
        t = tables[case.name]
        for key in (c.removeprefix("none ") for c in t.columns if c.startswith("none ")):
            share, none = t.share(f"hit {key}"), t.share(f"none {key}")
            if not share.of:
                continue
            error, u = t.get(f"error {key}"), t.get(f"u {key}")
            relative = key in ("motion_scale", "flow")
            name = case.name + others.mark(case)
            rows.append((name, key, _as_read(t.rms(f"error {key}"), relative),
                         _as_read(float(np.mean(u)), relative),
                         f"{np.sqrt(np.mean((error / u) ** 2)):.2f}",
                         f"{share.value:.3f} ± {share.u:.3f}", f"{none.value:.3f}",
                         str(t.machines)))  # fmt: skip
    head = ("case", "quantity", "rms error", "mean u", "error/u", "coverage", "not answered",
            "machines")  # fmt: skip
    return as_table(head, rows)


def _as_read(value: float, relative: bool) -> str:
    return f"{value * 100:.4f} %" if relative else f"{value:.4f} mm"
