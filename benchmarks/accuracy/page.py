"""The page of accuracy: tables in Markdown with charts beside it, from results alone.

Every number comes from a table that was handed in; the words only say how it was made.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from benchmarks.accuracy import aims, evenings, fitting, more_aims, mutated, run_parts, span_parts
from benchmarks.accuracy import other_parts as other
from benchmarks.accuracy.markdown import table as as_table
from benchmarks.accuracy.speed import Timed

COMMAND = "python -m benchmarks.accuracy --seed {seed} --mutations --out docs/accuracy.md"


@dataclass(frozen=True)
class Run:
    """What the page says of its own making."""

    version: str
    seed: int
    machines: int
    date: str
    stem: str


@dataclass(frozen=True)
class Results:
    """Everything that was measured; no evenings or None where they were not asked for."""

    tables: aims.Tables
    forty: Sequence[Timed]
    growing: Sequence[Timed]
    nights: list[evenings.Evening]
    mutations: mutated.Mutated | None


def page(run: Run, found: Results) -> str:
    """The whole page."""
    tables, figures = found.tables, _figures(found)
    parts = [
        _head(run),
        "## Figures with an aim\n",
        as_table(("figure", "measured", "aim", "met"), [_aimed(f) for f in figures]),
        _short(figures),
        "## Coverage of 95 % intervals\n",
        span_parts.coverage_words(run.machines),
        span_parts.coverage(tables),
        "![Coverage of printed scale]({stem}-coverage.svg)\n",
        "## Errors against the bound and against what is said\n",
        span_parts.BOUND_WORDS,
        span_parts.efficiency(tables),
        "![Errors over the bound]({stem}-bound.svg)\n",
        "## Feed\n",
        other.feeds(tables),
        "## Where the feed begins to slip\n",
        other.SLIP_WORDS,
        other.slips(tables),
        "## Traverse, bead and fit\n",
        other.OTHER_WORDS,
        other.trials(tables),
        "## Fits, from the tries to the next part\n",
        other.FIT_WORDS,
        fitting.lines(tables),
        "## Pieces of the practice machine\n",
        other.PRACTICE_WORDS,
        other.practice(tables),
        "## Whole evenings on the practice machine\n",
        run_parts.nights(found.nights),
        "## How many more readings\n",
        other.MORE_WORDS,
        other.more(tables),
        "## Time\n",
        "Wall times on one thread of the machine that made this page; it did other work too.\n",
        other.times((*found.forty, *found.growing)),
        "## Wrong formulas\n",
        run_parts.mutations(found.mutations),
        "## What each case hides\n",
        span_parts.hidden(),
    ]
    return "\n".join(parts).rstrip().replace("{stem}", run.stem) + "\n"


def _figures(found: Results) -> list[aims.Figure]:
    tables = found.tables
    return [
        *aims.efficiency(tables),
        *aims.misreads(tables),
        *aims.decisions(tables),
        *aims.proofs(tables),
        *more_aims.slip(tables),
        *more_aims.trials(tables),
        *more_aims.fits(tables),
        *evenings.figures(found.nights),
        *_speed_figures(found.forty, found.growing),
        mutated.figure(found.mutations),
    ]


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


def _short(figures: Sequence[aims.Figure]) -> str:
    """Which figures fall short, in words."""
    judged = [f for f in figures if f.met is not None]
    missed = [f"{f.what} ({f.measured}, aim {f.aim})" for f in judged if not f.met]
    if not missed:
        return f"All {len(judged)} figures with an aim meet it.\n"
    return f"{len(missed)} of {len(judged)} figures fall short of their aim: {'; '.join(missed)}.\n"


def _aimed(f: aims.Figure) -> tuple[str, ...]:
    word = {True: "yes", False: "**no**", None: "–"}[f.met]
    return f.what, f.measured, f.aim, word


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
