"""The parsers under coverage-guided fuzzing: `python -m benchmarks.fuzz reports --seconds 600`.

Begins with the seeds that the tests replay and whatever the machine's word list holds; ends with
an error at the first input that breaks a promise of `tests/fuzz/targets.py`, and leaves it in the
working folder. `--keep N` adds the N smallest inputs that reached something new to the seeds.
Needs atheris, which is no part of any extra: `pip install atheris`.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from pathlib import Path

SEEDS = Path(__file__).parent.parent / "tests" / "fuzz" / "seeds"
MORE = {"reports": (SEEDS.parent.parent / "controller" / "reports",)}
WORDS = {
    "reports": ["M92 ", "M92 T1 ", "M92: ", "M665 ", "M666 ", "M852 ", "G20", "echo:", "; ", "E0"],
    "heard": [
        "ok N",
        "ok ",
        "Resend: ",
        "rs N",
        "T:",
        "/",
        " @:",
        "busy:",
        "start",
        "Error:",
        "!!",
    ],
    "readings": [
        "direction",
        "faces",
        "nominal_mm",
        "reading_mm",
        "outside",
        "XY+",
        ";",
        "approach",
    ],
    "typed": ["mm", "in", '"', ",", "X=", "nan", "inf", "1e5"],
}


def main() -> int:
    """Run one target for a time, in a process of its own."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("target", choices=sorted(WORDS))
    parser.add_argument("--seconds", type=int, default=600)
    parser.add_argument("--keep", type=int, default=0)
    parser.add_argument("--inside", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.inside is not None:
        _fuzz(given.target, given.seconds, Path(given.inside))
        return 0
    with tempfile.TemporaryDirectory() as folder:
        corpus = Path(folder)
        command = [sys.executable, "-m", "benchmarks.fuzz", given.target]
        command += ["--seconds", str(given.seconds), "--inside", folder]
        status = subprocess.run(command, check=False).returncode
        if given.keep and status == 0:
            _keep(given.target, corpus, given.keep)
    return status


def _fuzz(target: str, seconds: int, corpus: Path) -> None:
    import atheris

    # Let it see what a comparison or a pattern would need; its patterns know no position, which
    # the report's words are read by.
    for hook in ("str",) if target == "reports" else ("str", "RegEx"):
        atheris.enabled_hooks.add(hook)
    with atheris.instrument_imports(include=["asleft"]):
        from tests.fuzz.targets import TARGETS
    words = corpus.parent / f"{corpus.name}.words"
    words.write_text("".join(f'"{_escaped(w)}"\n' for w in WORDS[target]), encoding="ascii")
    seeds = SEEDS / target
    options = [
        f"-max_total_time={seconds}",
        "-max_len=2000",
        "-timeout=5",
        f"-dict={words}",
        "-print_final_stats=1",
        "-verbosity=1",
    ]
    folders = [str(corpus), *(str(f) for f in (seeds, *MORE.get(target, ())) if f.is_dir())]
    atheris.Setup([sys.argv[0], *options, *folders], TARGETS[target])
    atheris.Fuzz()


def _escaped(word: str) -> str:
    return word.replace("\\", "\\\\").replace('"', '\\"')


def _keep(target: str, corpus: Path, many: int) -> None:
    """Spread over the sizes, so that long inputs stand beside the shortest."""
    found = sorted((p for p in corpus.iterdir() if p.is_file()), key=lambda p: p.stat().st_size)
    step = max(1, len(found) // many)
    folder = SEEDS / target
    folder.mkdir(parents=True, exist_ok=True)
    for path in found[::step][:many]:
        (folder / path.name[:12]).write_bytes(path.read_bytes())
    print(f"{len(found)} inputs reached something new; {len(found[::step][:many])} kept")


if __name__ == "__main__":
    sys.exit(main())
