"""The records of practice calibrations: on paper as in JSON, the same again, checked, and felt.

    python -m benchmarks.records [--more N] [--seed N] [--every N] [--out FOLDER]

Three calibrations of one seed (cartesian, crossed-belt, delta), four that did not go as evenings go
(`records_odd`) and N cartesian ones more, two at a time and niced. Prints a row a record and what
was asked of all. `--out` with records of an earlier run looks at those again and makes only what is
missing.
"""

from __future__ import annotations

import argparse
import copy
import json
import os
import re
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from benchmarks.records_odd import make_odd

from asleft.bench.rechecking import recheck
from asleft.record import to_pdf
from asleft.record.digests import digest, digest_of_all
from asleft.record.sheet import sheet

KINDS = ("cartesian", "crossed-belt", "delta")
STEERING = ("kind", "align", "wide", "faint", "svg")
NUMBER = re.compile(r"[+−-]?\d+(?:\.\d+)?")


def make(seed: int, kind: str, folder: Path) -> Path | None:
    """One unattended calibration and its record as JSON; None where it came to no end."""
    out = folder / f"{kind}-{seed}.json"
    if out.exists():
        return out
    with tempfile.TemporaryDirectory() as home:
        start = [sys.executable, "-m", "asleft", "--home", home]
        kinds = ["practice", "--unattended", "--as", kind, "--seed", str(seed)]
        for arguments in (kinds, ["record", "--out", str(out)]):
            subprocess.run(
                [*start, *arguments],
                check=False,
                capture_output=True,
                preexec_fn=lambda: os.nice(10),
            )
    return out if out.exists() else None


def texts(value: Any) -> Iterator[str]:
    """All text of a sheet, but charts and what only steers the layout."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, list):
        for each in value:
            yield from texts(each)
    elif isinstance(value, dict):
        for key, each in value.items():
            if key not in STEERING:
                yield from texts(each)


def squeezed(text: str) -> str:
    """Without blanks, line ends and the hyphens that break words at them."""
    joined = re.sub(r"[-\u2010\u00ad]\n", "-", text)
    return re.sub(r"\s|\u2060", "", joined).replace("-", "")


def printed(pdf: bytes) -> str:
    """The text of a PDF as `pdftotext` (poppler) reads it."""
    done = subprocess.run(
        ["pdftotext", "-layout", "-", "-"], input=pdf, capture_output=True, check=True
    )
    return done.stdout.decode()


def lost(document: dict[str, Any], text: str) -> list[str]:
    """Words and figures with their unit that the sheet has and the paper lacks."""
    paper = squeezed(text)
    parts = {part for told in texts(sheet(document)) for part in re.split(r"[ \n]+", told)}
    return sorted(part for part in parts if squeezed(part) not in paper)


def invented(document: dict[str, Any], text: str) -> list[str]:
    """Numbers on paper that the sheet (charts and page numbers too) has nowhere."""
    told = squeezed(json.dumps(sheet(document), ensure_ascii=False))
    plain = re.sub(r"page \d+ of \d+", "", text)
    return sorted({each for each in NUMBER.findall(plain) if squeezed(each) not in told})


def altered(document: dict[str, Any], every: int) -> Iterator[tuple[str, dict[str, Any]]]:
    """The record once for every reading, with one digit of its value, or of its text, another.

    Of those that counted only one in `every`; those that did not, always.
    """
    for t, trial in enumerate(document["trials"]):
        for r, reading in enumerate(trial["readings"]):
            if r % every and reading["used"]:
                continue
            other = copy.deepcopy(document)
            changed = other["trials"][t]["readings"][r]
            if (r // every) % 2:
                changed["value"] = digit_turned(repr(reading["value"]), float)
            else:
                changed["raw"] = digit_turned(reading["raw"], str)
            yield f"trial {trial['id']}, reading {reading['key']}", other


def quietly_altered(document: dict[str, Any], every: int) -> Iterator[dict[str, Any]]:
    """One reading that counted in `every` with its last digit another, all digests made anew.

    What remains to feel it are the estimates.
    """
    for t, trial in enumerate(document["trials"]):
        if trial["outcome"] != "done":
            continue
        for r, reading in enumerate(trial["readings"]):
            if r % every or not reading["used"] or reading["place"].get("outcome"):
                continue
            other = copy.deepcopy(document)
            changed = other["trials"][t]["readings"][r]
            changed["value"] = digit_turned(repr(reading["value"]), float)
            changed["raw"] = repr(changed["value"])
            other["readings_sha256"] = digest(other["trials"])
            other["record_sha256"] = digest_of_all(other)
            yield other


def leaves(value: Any) -> Iterator[tuple[Any, Any]]:
    """Every place of a value that holds no other, as what holds it and its key there."""
    pairs = value.items() if isinstance(value, dict) else enumerate(value)
    for key, each in list(pairs):
        if isinstance(each, dict | list) and each:
            yield from leaves(each)
        else:
            yield value, key


def unfelt(document: dict[str, Any], wanted: int) -> tuple[int, int]:
    """Of some `wanted` places anywhere in the record, how many were altered and not noticed."""
    own = copy.deepcopy(document)
    places = [(holder, key) for holder, key in leaves(own) if key != "record_sha256"]
    tried = missed = 0
    for holder, key in places[:: max(1, len(places) // wanted)]:
        kept = holder[key]
        holder[key] = f"{kept} altered"
        tried += 1
        missed += digest_of_all(own) == document["record_sha256"]
        holder[key] = kept
    return tried, missed


def digit_turned(text: str, kind: type) -> Any:
    """The text with its last digit one further, as text or as a number."""
    places = [n for n, sign in enumerate(text) if sign.isdigit()]
    if not places:
        return kind(text + "1")
    last = places[-1]
    return kind(text[:last] + str((int(text[last]) + 1) % 10) + text[last + 1 :])


def look(path: Path, every: int = 1) -> dict[str, Any]:
    """Everything asked of one record; of the readings that counted one in `every` is altered."""
    document = json.loads(path.read_text(encoding="utf-8"))
    began, own = time.perf_counter(), time.process_time()
    pdf = to_pdf(document)
    took, own = time.perf_counter() - began, time.process_time() - own
    text = printed(pdf)
    path.with_suffix(".pdf").write_bytes(pdf)
    tried = [(where, recheck(other)["same"]) for where, other in altered(document, every)]
    quiet = [recheck(other)["same"] for other in quietly_altered(document, 4 * every)]
    anywhere, missed = unfelt(document, 200)
    readings = [each for trial in document["trials"] for each in trial["readings"]]
    return {
        "name": path.stem,
        "pages": text.count("\f"),
        "seconds": took,
        "own": own,
        "kib": len(pdf) / 1024,
        "lost": lost(document, text),
        "invented": invented(document, text),
        "same_bytes": pdf == to_pdf(copy.deepcopy(document)),
        "same": recheck(document)["same"],
        "altered": len(tried),
        "anywhere": anywhere,
        "missed": missed,
        "quiet": len(quiet),
        "quiet_missed": sum(quiet),
        "unused": sum(not each["used"] for each in readings),
        "unnoticed": [where for where, same in tried if same],
    }


def row(told: dict[str, Any]) -> str:
    """One line of the table."""
    yes = {True: "yes", False: "NO"}
    return (
        f"{told['name']:18s} | {told['pages']:2d} | {told['seconds']:5.2f} | {told['kib']:6.1f} |"
        f" {len(told['lost']):2d} | {len(told['invented']):2d} | {yes[told['same_bytes']]:3s} |"
        f" {yes[told['same']]:3s} | {told['altered'] - len(told['unnoticed'])} of"
        f" {told['altered']} ({told['unused']} unused)"
    )


def summary(told: list[dict[str, Any]]) -> list[str]:
    """What was asked of all of them together."""
    owns = [each["own"] for each in told]
    seconds, sizes = [each["seconds"] for each in told], [each["kib"] for each in told]
    tried = sum(each["altered"] for each in told)
    felt = tried - sum(len(each["unnoticed"]) for each in told)
    return [
        f"{len(told)} records; {sum(each['same'] for each in told)} come out the same,"
        f" {sum(each['same_bytes'] for each in told)} the same bytes again",
        f"{sum(len(each['lost']) for each in told)} figures or words of a sheet not on paper,"
        f" {sum(len(each['invented']) for each in told)} numbers on paper not in a sheet",
        f"one digit changed: noticed {felt} of {tried}, among them"
        f" {sum(each['unused'] for each in told)} readings that were not used",
        f"any value anywhere changed: noticed {sum(t['anywhere'] - t['missed'] for t in told)} of"
        f" {sum(t['anywhere'] for t in told)}",
        "a reading that counted changed with its text, and both digests made anew: noticed by the"
        f" estimates {sum(t['quiet'] - t['quiet_missed'] for t in told)} of"
        f" {sum(t['quiet'] for t in told)}",
        f"seconds a PDF: median {statistics.median(seconds):.2f}, worst {max(seconds):.2f}; of the"
        f" process's own {statistics.median(owns):.2f}, worst {max(owns):.2f};"
        f" KiB: median {statistics.median(sizes):.0f}, worst {max(sizes):.0f}",
    ]


def show(path: Path, every: int) -> dict[str, Any]:
    """Ask one record everything, and print its row."""
    told = look(path, every)
    print(row(told), flush=True)
    for name in ("lost", "invented", "unnoticed"):
        if told[name]:
            print(f"  {name}: {told[name][:8]}")
    return told


def main(more: int, seed: int, every: int, folder: Path) -> None:
    """Make the calibrations, two at a time, and print the table."""
    folder.mkdir(parents=True, exist_ok=True)
    wanted = [(seed, kind) for kind in KINDS] + [
        (seed + n, "cartesian") for n in range(1, more + 1)
    ]
    print("record | pages | s | KiB | lost | invented | same bytes | same | changed digit noticed")
    told = []
    with ThreadPoolExecutor(2) as pool:
        paths = pool.map(lambda each: make(*each, folder), wanted)
        for (number, kind), path in zip(wanted, paths, strict=True):
            if path is None:
                print(f"{kind}-{number}: came to no end")
                continue
            told.append(show(path, every))
    told += [show(path, every) for path in make_odd(folder)]
    print("\n".join(summary(told)))


if __name__ == "__main__":
    arguments = argparse.ArgumentParser()
    arguments.add_argument("--more", type=int, default=0)
    arguments.add_argument("--seed", type=int, default=11)
    arguments.add_argument("--every", type=int, default=1, help="of the readings that counted")
    arguments.add_argument("--out", type=Path, default=None)
    asked = arguments.parse_args()
    if asked.out is not None:
        main(asked.more, asked.seed, asked.every, asked.out)
    else:
        with tempfile.TemporaryDirectory() as name:
            main(asked.more, asked.seed, asked.every, Path(name))
