"""The mutation check as a figure: how many wrong formulas were planted and how many were caught.

Read from what `tools/mutations.py` prints; nothing is planted here.
"""

from __future__ import annotations

import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from benchmarks.accuracy.aims import Figure

ROOT = Path(__file__).parents[2]
LAST = re.compile(r"^(\d+) of (\d+) wrong formulas fail a test$", re.MULTILINE)
LINE = re.compile(r"^\| (.+?) +\| (\w+) +\| (fails|SURVIVES) +\|", re.MULTILINE)


@dataclass(frozen=True)
class Mutated:
    """So many caught of so many planted; each (wrong formula, file, caught)."""

    caught: int
    planted: int
    each: tuple[tuple[str, str, bool], ...]


def run_mutations() -> Mutated:
    """Run the check; it takes minutes.

    Raises:
        RuntimeError: the check did not come to its end.
    """
    print("planting wrong formulas, some minutes", file=sys.stderr, flush=True)
    command = [sys.executable, str(ROOT / "tools" / "mutations.py")]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    return read(done.stdout, done.stderr)


def read(said: str, trouble: str = "") -> Mutated:
    """What the check printed."""
    last = LAST.search(said)
    if last is None:
        raise RuntimeError(f"the mutation check did not end: {(said + trouble)[-300:]}")
    each = tuple((m[1], m[2], m[3] == "fails") for m in LINE.finditer(said))
    return Mutated(int(last[1]), int(last[2]), each)


def figure(found: Mutated | None) -> Figure:
    """The line with an aim; without a run it gives no figure."""
    what = "wrong formulas planted one at a time: each fails a test"
    if found is None:
        return Figure(what, "not run", "all, ≥ 12 planted", None)
    good = found.caught == found.planted >= 12
    return Figure(what, f"{found.caught} of {found.planted}", "all, ≥ 12 planted", good)
