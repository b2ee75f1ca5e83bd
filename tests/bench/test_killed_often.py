"""A share of the campaign of kills: `python -m benchmarks.kills --n 500` runs all of it.

The whole calibration, not one trial: see `test_killed` for the moments looked for on purpose.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SHORT = ("--per-calibration", "20", "--mean-life", "0.3", "--speed", "2000")


@pytest.mark.slow
@pytest.mark.timeout(150)  # dozens of processes: half a minute where nobody else works
@pytest.mark.skipif(
    not Path("/proc/self/task").exists(), reason="the line's process is looked for in /proc"
)
@pytest.mark.parametrize("seed", ["3", "4"])
def test_ten_kills_in_one_calibration(seed: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "benchmarks.kills", "--n", "10", "--seed", seed, *SHORT],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "nothing lost, doubled or left hot" in done.stdout
