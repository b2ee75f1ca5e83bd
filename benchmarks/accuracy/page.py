"""The page of accuracy: tables in Markdown with charts beside it, from results alone.

Every number comes from a table that was handed in; the words only say how it was made.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from benchmarks.accuracy import aims, feeding, practised
from benchmarks.accuracy.charts import Dot, dots
from benchmarks.accuracy.experiment import Table
from benchmarks.accuracy.spans import SpanCase, cases
from benchmarks.accuracy.speed import Timed

KEYS = ("scale X", "scale Y", "scale Z", "shear XY", "growth", "growth X", "growth Y",
        "first layer", "zero outside", "zero inside", "motion X", "motion Z",
        "shrinkage")  # fmt: skip
COMMAND = "python -m benchmarks.accuracy --seed {seed} --out docs/accuracy.md"


@dataclass(frozen=True)
class Run:
    """What the page says of its own making."""

    version: str
    seed: int
    machines: int
    date: str
    stem: str


def page(run: Run, tables: aims.Tables, forty: Sequence[Timed], growing: Sequence[Timed]) -> str:
    """The whole page."""
    figures = [*aims.efficiency(tables), *aims.misreads(tables), *aims.decisions(tables),
               *aims.proofs(tables), *_speed_figures(forty, growing)]  # fmt: skip
    parts = [
        _head(run),
        "## Figures with an aim\n",
        _table(("figure", "measured", "aim", "met"), [_aimed(f) for f in figures]),
        "## Coverage of 95 % intervals\n",
        _coverage_words(run),
        _coverage(tables),
        "![Coverage of printed scale]({stem}-coverage.svg)\n",
        "## Errors against the bound and against what is said\n",
        BOUND_WORDS,
        _efficiency(tables),
        "![Errors over the bound]({stem}-bound.svg)\n",
        "## Feed\n",
        _feeds(tables),
        "## Pieces of the practice machine\n",
        PRACTICE_WORDS,
        _practice(tables),
        "## How many more readings\n",
        MORE_WORDS,
        _more(tables),
        "## Time\n",
        "Wall times on one thread of the machine that made this page; it did other work too.\n",
        _times((*forty, *growing)),
        "## What each case hides\n",
        _hidden(),
    ]
    return "\n".join(parts).rstrip().replace("{stem}", run.stem) + "\n"


def charts(tables: aims.Tables) -> dict[str, str]:
    """SVG text by the end of its file's name."""
    return {"coverage": _coverage_chart(tables), "bound": _efficiency_chart(tables)}


BOUND_WORDS = (
    "The bound is the joint Cramér-Rao bound of the case (growth and zeros shared by all readings,"
    " type-B inputs as prior information, the scatter taken as known); ratio 1 is the best"
    " that an unbiased estimate can do; a cube comes below it, since even the solvers' very wide"
    " prior of scale tells something beside so poor readings."
    " `error/u` is the rms of error over stated standard uncertainty: above 1 where few"
    " readings know their scatter badly, which the t factor makes good in the interval.\n"
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


def _head(run: Run) -> str:
    return f"""# Accuracy of the estimates

Made on {run.date} with asleft {run.version} by `{COMMAND.format(seed=run.seed)}`
({run.machines} machines a row, seed {run.seed}). No number below was typed in.

Machines are simulated by code that shares nothing with the solvers. Truths of type-B inputs
(zeros and scale of the caliper, growth, first layer, warmth, force of the jaws) are drawn normal
with the standard deviation that the solvers state for them; scale errors are 0.4 % rms, shear
2 mrad rms, a reading scatters by 0.025 mm and a printed face by 0.02 mm unless a case says
otherwise. ± is one standard uncertainty from the number of machines.
"""


def _aimed(f: aims.Figure) -> tuple[str, ...]:
    word = {True: "yes", False: "**no**", None: "–"}[f.met]
    return f.what, f.measured, f.aim, word


def _table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    return "\n".join([*lines, *("| " + " | ".join(row) + " |" for row in rows)]) + "\n"


def _coverage_words(run: Run) -> str:
    u = (0.95 * 0.05 / run.machines) ** 0.5
    return (
        f"Share of machines whose truth lay inside the stated interval. Aim: 0.93 to 0.97; the"
        f" number of machines makes ± {u:.4f}. Cases marked ° may be wider (poor data), cases"
        f" marked ¹ are reported without an aim. Outside its aim by more than two standard"
        f" uncertainties: bold.\n"
    )


def _coverage(tables: aims.Tables) -> str:
    rows = []
    for case in cases():
        table = tables[case.name]
        shown = [_covered(case, table, k) for k in KEYS]
        rows.append((_marked(case), *shown))
    return _table(("case", *KEYS), rows)


def _marked(case: SpanCase) -> str:
    return case.name + (" °" if case.may_be_wide else "") + (" ¹" if case.reported_only else "")


def _covered(case: SpanCase, table: Table, key: str) -> str:
    share = table.share(f"hit {key}")
    if not share.of:
        return ""
    low, high = aims.COVERED
    least, most = share.value - 2 * share.u, share.value + 2 * share.u
    good = low <= most and (case.may_be_wide or least <= high)
    text = f"{share.value:.3f}"
    return text if good or case.reported_only else f"**{text}**"


def _coverage_chart(tables: aims.Tables) -> str:
    rows = []
    for case in cases():
        for key in ("scale X", "scale Z"):
            share = tables[case.name].share(f"hit {key}")
            if share.of:
                rows.append(Dot(f"{case.name}, {key[-1]}", share.value, 2 * share.u))
    ticks = (0.85, 0.90, 0.93, 0.95, 0.97, 1.0)
    return dots("Coverage of printed scale, X and Z", rows, aims.COVERED, ticks) + "\n"


def _efficiency(tables: aims.Tables) -> str:
    rows = []
    for case in cases():
        table = tables[case.name]
        for keys in (("scale X", "scale Y"), ("scale Z",), ("shear XY",), ("growth",)):
            rms = table.rms(*(f"error {k}" for k in keys))
            if np.isnan(rms):
                continue
            ratio, u = aims.over_bound(case, table, keys)
            error = np.concatenate([table.get(f"error {k}") for k in keys])
            said = np.concatenate([table.get(f"u {k}") for k in keys])
            name = "scale X, Y" if len(keys) > 1 else keys[0]
            rows.append((case.name, name, _size(rms, name), _size(float(np.mean(said)), name),
                         f"{ratio:.3f} ± {u:.3f}",
                         f"{np.sqrt(np.mean((error / said) ** 2)):.2f}"))  # fmt: skip
    return _table(("case", "quantity", "rms error", "mean u", "over the bound", "error/u"), rows)


def _size(value: float, name: str) -> str:
    if name.startswith("shear"):
        return f"{value * 1e3:.3f} mrad"
    return f"{value:.4f} mm" if name == "growth" else f"{value * 100:.4f} %"


def _efficiency_chart(tables: aims.Tables) -> str:
    rows = []
    for case in cases():
        ratio, u = aims.over_bound(case, tables[case.name], ("scale X", "scale Y"))
        rows.append(Dot(case.name, ratio, 2 * u))
    ticks = (0.9, 1.0, 1.05, 1.15, 1.5, 1.7)
    return dots("Printed scale X, Y: rms error over the bound", rows, (0.95, 1.05), ticks) + "\n"


def _feeds(tables: aims.Tables) -> str:
    rows = []
    for case in feeding.cases():
        t = tables[case.name]
        share = t.share("hit")
        rows.append((case.name, f"{t.rms('error') * 100:.4f} %", f"{t.rms('u') * 100:.4f} %",
                     f"{share.value:.3f} ± {share.u:.3f}"))  # fmt: skip
    return _table(("case", "rms error", "rms u", "coverage"), rows)


def _practice(tables: aims.Tables) -> str:
    rows = []
    for case in practised.cases():
        t = tables[case.name]
        for key in ("scale X", "scale Y", "scale Z", "shear XY"):
            share, error = t.share(f"hit {key}"), t.get(f"error {key}")
            habit = t.rms(f"habit {key[-1]}") if f"habit {key[-1]}" in t.columns else np.nan
            ratio = "" if np.isnan(habit) else f"{habit / t.rms(f'error {key}'):.1f}"
            name = key if key.startswith("shear") else "scale"
            rows.append((case.name, key, _size(float(error.mean()), name),
                         _size(t.rms(f"error {key}"), name), _size(t.rms(f"u {key}"), name),
                         f"{share.value:.3f} ± {share.u:.3f}", ratio))  # fmt: skip
    head = ("piece", "quantity", "bias", "rms error", "rms u", "coverage", "cube habit over ours")
    return _table(head, rows)


def _more(tables: aims.Tables) -> str:
    rows = []
    for name, t in tables.items():
        if not name.startswith("undecided"):
            continue
        for key in aims.MAP:
            for word, words in (("new", "places not read yet"), ("same", "the same places")):
                share = t.share(f"decided {word} {key}")
                if share.of:
                    more = float(np.median(t.get(f"more {word} {key}")))
                    rows.append((name, key, words, str(share.of), f"{more:.0f}",
                                 f"{share.value:.3f} ± {share.u:.3f}"))  # fmt: skip
    return _table(("piece", "quantity", "where", "told", "median n", "decided"), rows)


def _speed_figures(forty: Sequence[Timed], growing: Sequence[Timed]) -> list[aims.Figure]:
    found = [
        aims.Figure(f"span of {t.readings} readings {t.what}: median time warm",
                    f"{t.median_s * 1e3:.1f} ms", "≤ 5 ms", t.median_s <= 0.005)
        for t in forty
    ]  # fmt: skip
    for what in dict.fromkeys(t.what for t in growing):
        few, many = (t for t in growing if t.what == what and t.readings in (1000, 10000))
        times = many.median_s / few.median_s
        found.append(aims.Figure(f"10 000 readings over 1000, {what}: time", f"× {times:.1f}",
                                 "≤ × 10", times <= 10))  # fmt: skip
    return found


def _times(timed: Iterable[Timed]) -> str:
    rows = [(str(t.readings), t.what, f"{t.median_s * 1e3:.1f} ms", f"{t.slowest_s * 1e3:.1f} ms")
            for t in timed]  # fmt: skip
    return _table(("readings", "", "median", "slowest"), rows)


def _hidden() -> str:
    rows = []
    for case in cases():
        s, h = case.shape, case.hidden
        faces = ", ".join(s.faces) if s.directions else ""
        heights = " ".join(f"{z:g}" for z in s.heights)
        rows.append((case.name, f"{s.span:g}", " ".join(s.directions), faces, heights, str(s.n),
                     str(s.pairs), f"{h.noise:g}", f"{h.face:g}", f"{h.z_times:g}",
                     f"{h.misreads:.0%}"))  # fmt: skip
    return _table(("case", "span mm", "directions", "faces", "heights mm", "readings a face",
                   "faces alike", "noise mm", "face mm", "Z ×", "misreads"), rows)  # fmt: skip
