"""A seeded share of the campaign of wire faults: no wrong value, no hang, nothing left hot.

The whole of it is `python -m benchmarks.faults --seeds 200`; a case that fails here is run again,
with its wire log, by the line that is printed.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
KINDS = (
    ("late", "doubled", "lost", "split", "garbled", "corrupted"),
    ("missing", "noise", "flood", "endless", "gone", "digit"),
    ("touches", "rounds", "forgets", "reset", "unsaid reset", "cable"),
    ("busy", "halted", "rising", "ok inside", "cold"),
)


def campaign(*arguments: str, tmp_path: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "benchmarks.faults", *arguments],
        cwd=ROOT,
        env={**os.environ, "XDG_RUNTIME_DIR": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.parametrize("kinds", KINDS, ids=lambda kinds: kinds[0])
def test_each_fault_ends_in_a_right_value_or_a_clear_refusal(
    kinds: tuple[str, ...], tmp_path: Path
) -> None:
    tmp_path.chmod(0o700)
    done = campaign("--seeds", "3", "--first", "400", "--only", *kinds, tmp_path=tmp_path)
    assert done.returncode == 0, done.stderr + done.stdout
    assert all(f"| {kind} |" in done.stdout for kind in kinds)


def test_one_case_is_run_again_with_its_wire_log(tmp_path: Path) -> None:
    tmp_path.chmod(0o700)
    done = campaign("reset", "2", tmp_path=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "< start\\n" in done.stdout and "M503" in done.stdout
    assert done.stdout.splitlines()[-1].startswith(("right: ", "refused: "))
