"""Run the checks named, or all of them, and print their table.

    python -m benchmarks.page [NAME ...] [--few]

`--few` runs the bounded share that the tests take. Exit 1 where a figure falls short of its aim.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from benchmarks.page import crash, evening, gates, presses, speed
from benchmarks.page.stage import Figure

CHECKS: dict[str, Callable[[Path, bool], list[Figure]]] = {
    "keyboard": evening.keyboard,
    "first": speed.first_view,
    "finding": speed.finding,
    "idle": speed.idle,
    "killed": crash.killed,
    "sleep": crash.sleep,
    "presses": presses.at_once,
    "stop": presses.stop,
    "doors": gates.doors,
}


def main() -> int:
    """Entry point."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.page", description=__doc__)
    parser.add_argument("names", nargs="*", metavar="NAME", help=", ".join(CHECKS))
    parser.add_argument("--few", action="store_true", help="the bounded share of the tests")
    options = parser.parse_args()
    if unknown := set(options.names) - set(CHECKS):
        parser.error(f"no such check: {', '.join(sorted(unknown))}")
    short = False
    for name in options.names or CHECKS:
        began_s = time.monotonic()
        with tempfile.TemporaryDirectory(prefix="asleft-page-") as folder:
            for figure in CHECKS[name](Path(folder), options.few):
                verdict = "holds" if figure.holds else "FALLS SHORT"
                print(f"{name}: {figure.what}: {figure.seen} (aim {figure.aim}): {verdict}")
                short = short or not figure.holds
        print(f"{name}: took {time.monotonic() - began_s:.0f} s", flush=True)
    return int(short)


if __name__ == "__main__":
    sys.exit(main())
