"""The whole calibration over many hidden machines: errors found, errors left, seconds.

    python -m benchmarks.practice FIRST LAST [--as KIND]

A seed counts as within when X, Y, Z are within 0.1 %, E within 1 % and shear within 1 mrad.
"""

from __future__ import annotations

import argparse
import json
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

AXES = ("X", "Y", "Z", "E")
SCALE, FEED, SHEAR = 1e-3, 1e-2, 1e-3


def evening(
    seed: int, home: str, kind: str = "cartesian"
) -> tuple[dict[str, Any] | None, float, str]:
    """One unattended calibration: its JSON, its seconds, and what it said when it failed."""
    command = [sys.executable, "-m", "asleft", "--home", home, "practice", "--unattended"]
    began = time.perf_counter()
    done = subprocess.run(
        [*command, "--as", kind, "--seed", str(seed), "--json"],
        capture_output=True,
        text=True,
        check=False,
    )
    told = json.loads(done.stdout) if done.stdout.strip() else None
    return told, time.perf_counter() - began, done.stderr[-300:]


def proposals(home: str, calibration: int) -> dict[str, str]:
    """The last verdict with its reason by axis or plane, from the record; {} without one."""
    out = Path(home, f"{calibration}.json")
    command = [sys.executable, "-m", "asleft", "--home", home, "record", str(calibration)]
    subprocess.run([*command, "--out", str(out)], check=False, capture_output=True)
    if not out.exists():
        return {}
    record = json.loads(out.read_text(encoding="utf-8"))
    return {
        p["axis"]: f"{p['verdict']}: {p['reason']}"
        for p in record["proposals"]
        if p["setting"] in ("steps_per_mm", "skew")
    }


def limits() -> dict[str, float]:
    """How much may be left, relative and in rad, by the names of `residual`."""
    return {**dict.fromkeys("XYZ", SCALE), "E": FEED, "shear_xy": SHEAR}


def is_within(residual: dict[str, float]) -> bool:
    """Whether everything came within its tolerance."""
    return all(abs(residual[name]) <= limit for name, limit in limits().items())


def row(told: dict[str, Any]) -> str:
    """Hidden and left errors side by side."""
    hidden, left = told["hidden"], told["residual"]
    cells = [f"{hidden[a] * 100:+7.3f} {left[a] * 100:+7.3f}" for a in AXES]
    cells.append(f"{hidden['shear_xy'] * 1e3:+6.2f} {left['shear_xy'] * 1e3:+6.2f}")
    ends = "".join("y" if told[k] else "N" for k in ("stored", "survived_power_cycle", "proved"))
    return " | ".join(cells) + f" | {ends}"


def main(first: int, last: int, kind: str) -> None:
    """Print the table and the counts."""
    print(kind)
    print("seed | X hidden left % | Y | Z | E | shear mrad | stored survived proved | seconds")
    seconds, within, ended = [], 0, 0
    with tempfile.TemporaryDirectory() as home:
        for seed in range(first, last + 1):
            told, took, words = evening(seed, home, kind)
            seconds.append(took)
            if told is None:
                print(f"{seed:4d} | failed: {words}")
                continue
            good = is_within(told["residual"])
            within += good
            ended += told["stored"] and told["survived_power_cycle"] and told["proved"]
            print(f"{seed:4d} | {row(told)} | {took:5.1f}{'' if good else '  outside'}", flush=True)
    count = last - first + 1
    print(f"{within} of {count} within; {ended} of {count} stored, survived and proved")
    print(f"seconds: median {statistics.median(seconds):.1f}, worst {max(seconds):.1f}")


if __name__ == "__main__":
    arguments = argparse.ArgumentParser()
    arguments.add_argument("first", type=int)
    arguments.add_argument("last", type=int)
    arguments.add_argument("--as", dest="kind", default="cartesian")
    asked = arguments.parse_args()
    main(asked.first, asked.last, asked.kind)
