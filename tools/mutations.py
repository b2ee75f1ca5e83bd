"""Plants wrong formulas one at a time in a copy of the installed package; each must fail a test.

`python tools/mutations.py` prints a table and ends with 1 if one survives. Not part of the
tests: it takes minutes. The installed package itself is never touched.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import asleft

ROOT = Path(__file__).parents[1]
INSTALLED = Path(asleft.__file__).parent
AT_ONCE = 2
LONGEST_S = 600
# Quick tests come first, so that most wrong formulas fail within seconds.
QUICK = ("design", "chance", "instrument", "linear", "verdict", "feed", "span", "published_guide",
         "published_decisions", "second_method", "second_method_feed", "misread", "masked",
         "scatter", "predict", "known_length", "advice", "coverage")  # fmt: skip


@dataclass(frozen=True)
class Mutation:
    """What is wrong, and the text of `file`, in `measure`, that becomes another."""

    what: str
    file: str
    right: str
    wrong: str


MUTATIONS = (
    Mutation("inside faces grow outward", "span/design", "[1.0, -1.0, 0.0]", "[1.0, 1.0, 0.0]"),
    Mutation("growth × √2 on diagonals", "span/design",
             "growth = places.sign * np.sqrt(x + y)",
             "growth = places.sign * np.where(x * y > 0.2, 2**0.5, 1.0) * np.sqrt(x + y)"),
    Mutation("caliper scale times the reading, not the drawn length", "span/design",
             "columns[:, 6:] = _constants(places)",
             "columns[:, 6:] = _constants(places)\n    columns[:, 11] *= stretch"),
    Mutation("growth difference alike on X and Y", "span/design", "(x - y) / np", "(x + y) / np"),
    Mutation("shear without the scale of Y", "span/design", "xy * (1 + sy)", "xy"),
    Mutation("first layer not felt", "span/design",
             "length, places.from_bed", "length, 0 * length"),
    Mutation("no place variance", "span/scatter",
             "factor * math.exp(self.log[1])", "factor * 1e-12"),
    Mutation("heights scatter like the plane", "span/scatter",
             "return math.exp(self.log[2])", "return 1.0"),
    Mutation("maximum instead of restricted likelihood", "span/scatter",
             "variance - 1.0 + lever)", "variance - 1.0)"),
    Mutation("a mean better than its last digit", "span/scatter",
             "np.maximum(reading + face, sums.floor_mm2)", "reading + face"),
    Mutation("normal for t", "chance",
             "return t_quantile(0.975, dof)", "return t_quantile(0.975, math.inf)"),
    Mutation("degrees of freedom from u² instead of u⁴", "chance",
             "sum(u**4 / dof", "sum(u**2 / dof"),
    Mutation("one tail instead of two", "chance",
             "return above - probability_below((-limit - error) / u, dof)", "return above"),
    Mutation("MPE taken as a standard uncertainty", "instrument",
             "return self.mpe_mm / math.sqrt(3)\n", "return self.mpe_mm\n"),
    Mutation("rounding r/√3", "instrument", "return self.resolution_mm / math.sqrt(12)",
             "return self.resolution_mm / math.sqrt(3)"),
    Mutation("known shrinkage left in the steps", "span/parts",
             "        s = (1 + p.value) / (1 + h) - 1\n"
             "        steps = Estimate(s, p.u / (1 + h), p.dof, p.row)",
             "        s = (1 + p.value) / (1 + h) - 1\n"
             "        steps = Estimate(p.value, p.u, p.dof, p.row)"),
    Mutation("skew factor in force forgotten", "span/proposals",
             "in_force * (1 + first) / (1 + second) + found.value", "found.value"),
    Mutation("skew factor with the wrong sign", "span/proposals",
             "(1 + second) + found.value", "(1 + second) - found.value"),
    Mutation("steps times instead of over", "span/deciding",
             "else base) / (1 + found.value)", "else base) * (1 + found.value)"),
    Mutation("feed steps times the ratio", "feed/solve", "in_force / level.ratio if",
             "in_force * level.ratio if"),
    Mutation("the zero of a marked feed does not cancel", "feed/solve",
             "ratio)]\n    if any(r.remaining_mm is None for r in used):", "ratio)]\n    if used:"),
    Mutation("a check on a known length says nothing of the zero", "instrument",
             "shared = zero**2 + scale**2", "shared = scale**2"),
    Mutation("no guard before adjusting", "verdict",
             "size > max(u95, e.tolerance / 2 + guard(e.dof) * e.u)", "size > u95"),
    Mutation("misreads are not looked for", "span/misread",
             "found = check_backwards(problem, kept)",
             "found = Misreads(np.ones_like(kept), off, (), ())"),
    Mutation("masked pairs are not looked for", "span/misread",
             "quiet = bool(np.all(np.abs(off) < 3.0 * sd))", "quiet = True"),
    Mutation("the change put on backwards", "span/drives",
             "steps_after[a] / steps_before[a]", "steps_before[a] / steps_after[a]"),
    Mutation("the proof forgets what places share", "span/prove",
             "chi2 = float(off @ np.linalg.solve(covariance, off))",
             "chi2 = float(off @ (off / np.diag(covariance)))"),
    Mutation("the check on a known length without its length", "span/fit",
             'row[PARAMETERS.index("caliper_scale")] = check.nominal_mm',
             'row[PARAMETERS.index("caliper_scale")] = 0.0'),
)  # fmt: skip


def main() -> int:
    """Plant each, print what became of it."""
    if not _passes(_tests(None)):
        print("the tests fail without any mutation")
        return 2
    survived = 0
    print(f"| {'wrong formula':58} | {'file':15} | {'outcome':9} | {'seconds':>7} |")
    print(f"|{'-' * 60}|{'-' * 17}|{'-' * 11}|{'-' * 8}:|", flush=True)
    for mutation, failed, seconds in _all():
        survived += not failed
        word = "fails" if failed else "SURVIVES"
        line = f"| {mutation.what:58} | {mutation.file:15} | {word:9} | {seconds:7.1f} |"
        print(line, flush=True)
    print(f"{len(MUTATIONS) - survived} of {len(MUTATIONS)} wrong formulas fail a test")
    return 1 if survived else 0


def _all() -> Iterator[tuple[Mutation, bool, float]]:
    with ThreadPoolExecutor(AT_ONCE) as pool:
        yield from pool.map(_planted, MUTATIONS)


def _planted(mutation: Mutation) -> tuple[Mutation, bool, float]:
    start = time.monotonic()
    failed = not _passes(_tests(mutation))
    return mutation, failed, time.monotonic() - start


def _passes(code: int) -> bool:
    """Tests passed; anything but passing and failing is no answer."""
    if code not in (0, 1):
        raise RuntimeError(f"the tests could not be run: exit code {code}")
    return code == 0


def _tests(mutation: Mutation | None) -> int:
    """Exit code of the room's tests on a copy with `mutation` planted."""
    with tempfile.TemporaryDirectory() as where:
        copy = Path(where) / "asleft"
        shutil.copytree(INSTALLED, copy, ignore=shutil.ignore_patterns("__pycache__"))
        if mutation is not None:
            _plant(copy / "measure" / f"{mutation.file}.py", mutation)
        command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider"]
        command += ["-p", "no:xdist", *(f"tests/measure/test_{name}.py" for name in QUICK)]
        environment = {**os.environ, "PYTHONPATH": where, "PYTHONDONTWRITEBYTECODE": "1",
                       "OPENBLAS_NUM_THREADS": "1"}  # fmt: skip
        found = subprocess.run([sys.executable, "-c", "import asleft; print(asleft.__file__)"],
                               cwd=where, env=environment, check=True, capture_output=True,
                               text=True)  # fmt: skip
        if Path(found.stdout.strip()).parent != copy:
            raise RuntimeError("the tests would not see the copy")
        return subprocess.run(command, cwd=ROOT, env=environment, check=False,
                              capture_output=True, timeout=LONGEST_S).returncode  # fmt: skip


def _plant(file: Path, mutation: Mutation) -> None:
    text = file.read_text(encoding="utf-8")
    if text.count(mutation.right) != 1:
        raise RuntimeError(f"{mutation.what}: the right formula is not there exactly once")
    file.write_text(text.replace(mutation.right, mutation.wrong), encoding="utf-8")


if __name__ == "__main__":
    sys.exit(main())
