"""A bounded share of the page's own measurements, each by the command that measures all of it.

The whole is `python -m benchmarks.page`. Times to the finding and to the first paint stay there: on
a busy machine of two cores they tell of its neighbours.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

pytestmark = [pytest.mark.system("chromium"), pytest.mark.xdist_group("browser")]


@pytest.mark.timeout(120)  # two servers, a browser and a machine are started on a busy computer
@pytest.mark.parametrize("name", ["killed", "stop"])
def test_a_share_of_what_is_measured_holds(name: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "benchmarks.page", name, "--few"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert f"{name}: took" in done.stdout


@pytest.mark.slow
@pytest.mark.timeout(150)
def test_a_whole_evening_by_keyboard_alone() -> None:
    test_a_share_of_what_is_measured_holds("keyboard")
