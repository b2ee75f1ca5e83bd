"""`python -m benchmarks.accuracy`: measure everything and write the page.

A full run takes some minutes on two cores and shows how much is left; `--quick` takes a few
machines a row, to see that all of it works.
"""

from __future__ import annotations

import argparse
import datetime
from pathlib import Path

from benchmarks.accuracy import (
    deciding,
    feeding,
    fitting,
    others,
    practised,
    proving,
    slipping,
    spans,
    speed,
)
from benchmarks.accuracy.evenings import run_evenings
from benchmarks.accuracy.experiment import Experiment
from benchmarks.accuracy.machine import Shape
from benchmarks.accuracy.mutated import run_mutations
from benchmarks.accuracy.page import Results, Run, page
from benchmarks.accuracy.running import run_all
from benchmarks.accuracy.span_parts import charts

from asleft import __version__

FULL, QUICK = 2000, 12
EVENINGS = 40


def experiments() -> list[Experiment]:
    """Everything that is measured on machines."""
    return [
        *spans.cases(),
        spans.CubeHabit(),
        deciding.SoundMachines("sound machines", Shape(pairs=2)),
        deciding.BadMachines("bad machines", Shape(pairs=2)),
        deciding.MoreReadings("undecided: span 60, 2 readings a face", Shape(span=60.0, n=2)),
        deciding.MoreReadings("undecided: span 95, 1 reading a face", Shape(n=1)),
        deciding.MoreReadings("undecided: span 95, 4 readings a face", Shape(n=4)),
        *feeding.cases(),
        *feeding.deciding(),
        *slipping.cases(),
        *others.cases(),
        *fitting.cases(),
        *proving.cases(),
        *practised.cases(),
    ]


def main() -> None:
    """Read the options, measure, write."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.accuracy", description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, default=Path("docs/accuracy.md"))
    parser.add_argument("--machines", type=int, default=FULL, help="machines a row")
    parser.add_argument("--date", default=datetime.date.today().isoformat(), help="to be printed")
    parser.add_argument("--quick", action="store_true", help="a few machines only")
    parser.add_argument(
        "--evenings",
        type=int,
        help=f"evenings on the practice machine, 0 for none; {EVENINGS}, or 0 when quick",
    )
    parser.add_argument("--mutations", action="store_true", help="plant wrong formulas too")
    asked = parser.parse_args()
    machines = QUICK if asked.quick else asked.machines
    evenings = asked.evenings
    if evenings is None:
        evenings = 0 if asked.quick else EVENINGS
    # First what may end the run.
    mutations = run_mutations() if asked.mutations else None
    # One after the other and before the rest: their seconds are to be their own.
    nights = run_evenings(evenings)
    growing = speed.growing(asked.seed)
    forty = [speed.forty(asked.seed, 5 if asked.quick else 60, m) for m in (0.0, 0.03)]
    tables = run_all(experiments(), asked.seed, machines)
    found = Results(tables, forty, growing, nights, mutations)
    run = Run(__version__, asked.seed, machines, asked.date, asked.out.stem)
    for end, svg in charts(tables).items():
        path = asked.out.with_name(f"{asked.out.stem}-{end}.svg")
        path.write_text(svg, encoding="utf-8")
    asked.out.write_text(page(run, found), encoding="utf-8")


if __name__ == "__main__":
    main()
