"""Draws the pictures of docs/explanation/why.md, and writes its figures between their marks.

`python tools/why_pictures.py` computes for some 20 s and always makes the same bytes. The
machines are invented (`why_machines`); every figure of the page that rests on them is from here.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
import textwrap
from pathlib import Path

import numpy as np
import why_charts
from why_machines import (
    CUBE_MM,
    PAIRS,
    PITCH_MM,
    POST_MM,
    RIGHT,
    Machine,
    Outcome,
    World,
    by_cube,
    by_span,
    evenings,
    rms,
    solved,
)

from asleft.measure import SpanReading

PAGE = Path(__file__).resolve().parents[1] / "docs" / "explanation" / "why.md"
SEED, MACHINES, ROUNDS, CORRECTIONS, DRAWN = 1, 1000, 3, 12, 6
CASE_MM, FAT_MM, WITHIN = 140.0, 0.10, 0.001


def fat_wall() -> tuple[dict[str, float], str]:
    """One machine that is right and prints fat, without any noise: its figures, its picture."""
    rows = [
        SpanReading(way, faces, PITCH_MM + sign * POST_MM, PITCH_MM + sign * (POST_MM + FAT_MM))  # type: ignore[arg-type]
        for way in "XY"
        for faces, sign in (("outside", 1), ("inside", -1))
        for _ in range(PAIRS)
    ]
    told = solved(rows)
    growth_mm = next(q.value or 0.0 for q in told.quantities if q.name == "growth")
    adjusted = [p for p in told.proposals if p.setting == "steps_per_mm" and p.verdict != "leave"]
    scale = CUBE_MM / (CUBE_MM + FAT_MM)
    drawn = [float(mm) for mm in range(5, 151, 5)]
    off = {
        "found": [FAT_MM for _ in drawn],
        "cube": [scale * mm + FAT_MM - mm for mm in drawn],
        "piece": [FAT_MM - growth_mm for _ in drawn],
    }
    at = drawn.index(CASE_MM)
    figures = {
        "cube_mm": CUBE_MM + FAT_MM,
        "cube_said": FAT_MM / CUBE_MM,
        "case_found_mm": CASE_MM + off["found"][at],
        "case_cube_mm": CASE_MM + off["cube"][at],
        "case_piece_mm": CASE_MM + off["piece"][at],
        "growth_found_mm": growth_mm,
        "steps_not_left": float(len(adjusted)),
    }
    return figures, why_charts.lengths(drawn, off)


def over_machines(machines: int) -> tuple[dict[str, object], Outcome]:
    """What three evenings leave, of so many machines."""
    done = evenings(World(), machines, ROUNDS, SEED)
    figures: dict[str, object] = {
        "machines": machines,
        "rms_cube": [rms(each) for each in done.cube],
        "rms_piece": [rms(each) for each in done.span],
        "within_cube": [float(np.mean(np.abs(each) <= WITHIN)) for each in done.cube],
        "within_piece": [float(np.mean(np.abs(each) <= WITHIN)) for each in done.span],
        "worse_cube": float(np.mean(np.abs(done.cube[1]) > np.abs(done.cube[0]))),
        "worse_piece": float(np.mean(np.abs(done.span[1]) > np.abs(done.span[0]))),
        "cube_shows_mm": [rms(each - CUBE_MM) for each in done.shown_mm],
        "changed": (done.changed.mean(axis=1) / 2).tolist(),
    }
    return figures, done


def noise(machines: int) -> tuple[dict[str, object], str]:
    """Machines with nothing wrong: corrected by cubes again and again, and asked of once."""
    cubes = [Machine(RIGHT, SEED, n) for n in range(machines)]
    path = [np.array([machine.scale for machine in cubes])]
    for _ in range(CORRECTIONS):
        for machine in cubes:
            by_cube(machine)
        path.append(np.array([machine.scale for machine in cubes]))
    changed = sum(by_span(Machine(RIGHT, SEED, n)) for n in range(machines))
    asked = [Machine(RIGHT, SEED, n) for n in range(DRAWN)]
    pieces = [np.zeros(DRAWN)]
    for _ in range(CORRECTIONS):
        for machine in asked:
            by_span(machine)
        pieces.append(np.array([machine.scale[0] for machine in asked]))
    figures: dict[str, object] = {
        "rms_cube": [rms(path[k]) for k in (1, 2, CORRECTIONS)],
        "changed_by_piece": changed,
        "settings": 2 * machines,
    }
    drawn = np.array([each[:DRAWN, 0] for each in path])
    return figures, why_charts.paths(drawn, np.array(pieces))


def tables(found: dict[str, dict]) -> dict[str, str]:  # type: ignore[type-arg]
    """The figures as they stand in the page, by the name of their marks."""
    fat, many, right = found["fat"], found["many"], found["right"]
    columns = (many[k] for k in ("rms_cube", "rms_piece", "within_cube", "within_piece"))
    evening = ("as found", "after one evening", "after two", "after three")
    rows = [
        f"| {name} | {a:.3%} | {b:.3%} | {p:.1%} | {q:.1%} |"
        for name, a, b, p, q in zip(evening, *columns, strict=True)
    ]
    head = (
        f"| {many['machines']} machines, X and Y | rms, cube | rms, span piece |"
        " within 0.1 %, cube | within 0.1 %, span piece |"
    )
    once, twice, last = right["rms_cube"]
    said = {
        "fat": f"The cube reads {fat['cube_mm']:.2f} mm, which is {fat['cube_said']:+.2%} by pocket"
        f" calculator. A case of {CASE_MM:.0f} mm came out {fat['case_found_mm']:.2f} mm before,"
        f" and comes out {fat['case_cube_mm']:.2f} mm after. The span piece finds a growth of"
        f" {fat['growth_found_mm']:+.3f} mm and {fat['steps_not_left']:.0f} steps to change; with"
        f" that growth in the slicing profile the case is {fat['case_piece_mm']:.2f} mm.",
        "worse": f"The first cube leaves {many['worse_cube']:.1%} of the axes worse than it found"
        f" them, the span piece {many['worse_piece']:.1%}.",
        "shows": "On the three evenings the cubes were off by"
        f" {listed(many['cube_shows_mm'], 'mm')} rms. The span piece had"
        f" {listed(many['changed'], '%')} of the axes adjusted.",
        "right": f"The noise of one cube leaves {once:.3%} rms where nothing was wrong, a second"
        f" correction {twice:.3%}, the twelfth {last:.3%}. Asked of the same machines, the span"
        f" piece had {right['changed_by_piece']} of {right['settings']} settings adjusted.",
    }
    texts = {name: textwrap.fill(spaced(text), 100) for name, text in said.items()}
    return texts | {"many": spaced("\n".join([head, "|---|--:|--:|--:|--:|", *rows]))}


def listed(values: list[float], unit: str) -> str:
    """Figures one after the other, with their unit once each."""
    shown = [f"{v:.1%}" if unit == "%" else f"{v:.3f} mm" for v in values]
    return ", ".join(shown[:-1]) + f" and {shown[-1]}"


def spaced(text: str) -> str:
    """A space before the sign of per cent, as everywhere in the project."""
    return re.sub(r"(\d)%", r"\1 %", text)


def filled(page: str, texts: dict[str, str]) -> str:
    """The page with the figures between their marks."""
    for name, text in texts.items():
        marks = rf"(<!-- figures: {name} -->\n).*?(<!-- end -->)"
        page, count = re.subn(marks, rf"\g<1>{text}\n\g<2>", page, flags=re.DOTALL)
        if count != 1:
            sys.exit(f"{PAGE.name}: marks of {name} stand there {count} times")
    return page


def main() -> int:
    """Make the figures and, of all machines, the pictures and the page."""
    options = argparse.ArgumentParser(description="Draw the pictures of why.md.")
    options.add_argument("--machines", type=int, default=MACHINES, help="how many; all by default")
    options.add_argument("--json", action="store_true", help="print the figures; write nothing")
    given = options.parse_args()
    fat, picture = fat_wall()
    many, done = over_machines(given.machines)
    right, paths = noise(given.machines)
    found = {"fat": fat, "many": many, "right": right}
    texts = tables(found)  # type: ignore[arg-type]
    if given.json:
        print(json.dumps({"figures": found, "texts": texts, "lengths": picture}))
        return 0
    first = {"found": done.cube[0], "cube": done.cube[1], "piece": done.span[1]}
    left = {"cube": [rms(e) for e in done.cube], "piece": [rms(e) for e in done.span]}
    pictures = {
        "lengths": picture,
        "spread": why_charts.spread(first),
        "noise": paths,
        "rounds": why_charts.rounds(left),
    }
    for name, svg in pictures.items():
        (PAGE.parent / f"why-{name}.svg").write_text(svg, encoding="utf-8", newline="\n")
        print(f"why-{name}.svg: {len(svg.encode()) / 1024:.1f} KiB")
    PAGE.write_text(filled(PAGE.read_text(encoding="utf-8"), texts), encoding="utf-8", newline="\n")
    print("\n".join(texts.values()))
    return 0


if __name__ == "__main__":
    sys.exit(main())
