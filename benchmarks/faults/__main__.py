"""Run the campaign, or one case of it with its wire log.

    python -m benchmarks.faults KIND SEED
    python -m benchmarks.faults --seeds 200 --jobs 1

Prints a table of kinds and what they came to; exit 1 where a wrong value was believed or a command
hung. Stands on `case`.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor

from benchmarks.faults.case import SPARE_S, Verdict, case
from benchmarks.faults.kinds import FAULT_KINDS

OUTCOMES = ("right", "refused", "wrong", "hang")


def main() -> int:
    """Entry point."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.faults", description=__doc__)
    parser.add_argument("kind", nargs="?", choices=sorted(FAULT_KINDS))
    parser.add_argument("seed", nargs="?", type=int)
    parser.add_argument("--seeds", type=int, default=20, help="how many of each kind")
    parser.add_argument("--first", type=int, default=0, help="the first seed")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--only", nargs="+", choices=sorted(FAULT_KINDS), help="these kinds")
    options = parser.parse_args()
    if options.kind is not None and options.seed is not None:
        return _one(options.kind, options.seed)
    kinds = [options.kind] if options.kind else options.only or list(FAULT_KINDS)
    seeds = range(options.first, options.first + options.seeds)
    began_s = time.perf_counter()
    verdicts = list(_all([(kind, seed) for kind in kinds for seed in seeds], options.jobs))
    for line in table(verdicts):
        print(line)
    print(f"\n{len(verdicts)} cases in {time.perf_counter() - began_s:.0f} s of wall time")
    return int(any(v.outcome in ("wrong", "hang") for v in verdicts))


def _one(kind: str, seed: int) -> int:
    log: list[str] = []
    verdict = case(kind, seed, log=log)
    print("\n".join(log))
    print()
    print(_line(verdict))
    return int(verdict.outcome in ("wrong", "hang"))


def _all(asked: list[tuple[str, int]], jobs: int) -> Iterator[Verdict]:
    """Each verdict; those that must not be are told at once."""
    for verdict in _run(asked, jobs):
        if verdict.outcome in ("wrong", "hang"):
            print(_line(verdict), file=sys.stderr, flush=True)
        yield verdict


def _run(asked: list[tuple[str, int]], jobs: int) -> Iterator[Verdict]:
    if jobs <= 1:
        yield from (case(*each) for each in asked)
        return
    with ProcessPoolExecutor(jobs) as pool:
        yield from pool.map(case, *zip(*asked, strict=True), chunksize=8)


def _line(v: Verdict) -> str:
    return f'{v.outcome}: "{v.kind}" {v.seed} ({v.command}, {v.family}, {v.own_s:.0f} s): {v.why}'


def table(verdicts: Iterable[Verdict]) -> list[str]:
    """Kinds with their counts, the longest delay and the wall seconds."""
    rows: dict[str, list[Verdict]] = {}
    for verdict in verdicts:
        rows.setdefault(verdict.kind, []).append(verdict)
    lines = [
        "| fault | right | refused clearly | wrong | hang | longest over, s | wall, s |",
        "|---|---|---|---|---|---|---|",
    ]
    for kind, those in rows.items():
        lines.append(_row(kind, those))
    lines.append(_row("all", [v for those in rows.values() for v in those]))
    return [*lines, "", f"Over: beyond the same command without fault; stated: {SPARE_S:g} s."]


def _row(name: str, those: list[Verdict]) -> str:
    counts = Counter(v.outcome for v in those)
    over_s, wall_s = max(v.over_s for v in those), sum(v.wall_s for v in those)
    numbers = " | ".join(str(counts[outcome]) for outcome in OUTCOMES)
    return f"| {name} | {numbers} | {over_s:.0f} | {wall_s:.1f} |"


if __name__ == "__main__":
    sys.exit(main())
