"""Whole-process times of the commands that must be there at once, over `import numpy` in one run.

Ratios in one run, since machines differ and drift: each command in turn, several rounds, medians.

    python benchmarks/startup.py [ROUNDS]
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

FEED = (
    "marked_mm,remaining_mm,commanded_mm\n120,15.1,100\n120,14.9,100\n120,15.0,100\n120,15.2,100\n"
)
SPAN = (
    "direction,faces,nominal_mm,reading_mm,place\n"
    "X,outside,107,107.31,1\nX,outside,107,107.29,2\nX,inside,83,83.02,3\nX,inside,83,83.05,4\n"
)


def seconds(command: list[str]) -> float:
    """Wall time of one whole process."""
    began = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    return time.perf_counter() - began


def main(rounds: int) -> None:
    """Print medians and their ratio to `import numpy`."""
    asleft = [sys.executable, "-m", "asleft"]
    with tempfile.TemporaryDirectory() as folder:
        feed, span = Path(folder, "feed.csv"), Path(folder, "span.csv")
        feed.write_text(FEED, encoding="utf-8")
        span.write_text(SPAN, encoding="utf-8")
        commands = {
            "import numpy": [sys.executable, "-c", "import numpy"],
            "asleft --help": [*asleft, "--help"],
            "asleft solve feed": [*asleft, "solve", "feed", str(feed), "--steps", "E=93"],
            "asleft solve span": [*asleft, "solve", "span", str(span), "--steps", "X=80"],
            "asleft piece span": [*asleft, "piece", "span", "--out", folder, "--force"],
        }
        times: dict[str, list[float]] = {name: [] for name in commands}
        for _ in range(rounds + 1):  # the first round warms the disk cache
            for name, command in commands.items():
                times[name].append(seconds(command))
    medians = {name: statistics.median(each[1:]) for name, each in times.items()}
    for name, median in medians.items():
        print(f"{name:20s} {median:7.3f} s   {median / medians['import numpy']:6.2f} x numpy")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 11)
