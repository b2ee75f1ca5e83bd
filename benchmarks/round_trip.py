"""A piece there and back: drawn, its file executed, read with a caliper, solved, held to the truth.

    python -m benchmarks.round_trip FIRST LAST [KIND]

Each seed is one practice machine with its own hidden errors. A number counts as covered when the
truth lies within the 95 % interval that was stated for it.
"""

from __future__ import annotations

import asyncio
import sys
import time
from typing import Any

from asleft.cli.practice_card import card_text
from asleft.measure import Instrument, Solution, SpanReading, solve_span
from asleft.pieces import SpanPiece
from asleft.practice.clock import Clock
from asleft.practice.words.kinds import KINDS, Kind
from asleft.practice.workshop import Workshop

NAMES = ("X", "Y", "Z", "shear_xy")


async def there_and_back(
    seed: int, kind: Kind, piece: SpanPiece, text: str
) -> tuple[Solution, dict[str, float]]:
    """What was estimated from one print, and what was hidden."""
    workshop = Workshop(seed=seed, kind=kind, clock=Clock(1000))
    workshop.board.start()
    await workshop.booted()
    await workshop.do("print", piece="span", parameters=piece.to_dict(), text=text)
    readings = []
    for place in piece.places():
        columns = (place.direction, place.faces, place.nominal_mm)
        keys = dict(zip(("direction", "faces", "nominal_mm"), columns, strict=True))
        told = await workshop.do("measure", label=place.label, **keys)
        readings.append(SpanReading(*columns, float(told["text"]), place.label))  # type: ignore[arg-type]
    held = workshop.board.settings.in_force
    steps = {axis: held["M92"][axis] for axis in "XYZ"}
    skew = {"XY": held["M852"]["I"]} if "M852" in held else None
    found = solve_span(
        readings,
        instrument=Instrument(**workshop.person.caliper.owner_knows()),
        in_force=steps,
        skew=skew,
        drive=kind.drive,
    )
    hidden = (await workshop.do("reveal"))["hidden"]
    await workshop.board.stop()
    return found, hidden


def covered(found: Solution, hidden: dict[str, float]) -> dict[str, tuple[bool, float, float]]:
    """By name: whether the truth lies in the interval, the error, and the half width."""
    told: dict[str, tuple[bool, float, float]] = {}
    for q in found.quantities:
        name = "shear_xy" if q.name == "shear" else q.axis if q.name == "printed_scale" else None
        if name in NAMES and q.value is not None and q.low95 is not None and q.high95 is not None:
            truth = hidden[name]
            inside = q.low95 <= truth <= q.high95
            told[name] = inside, q.value - truth, (q.high95 - q.low95) / 2
    return told


def row(told: dict[str, tuple[bool, float, float]]) -> str:
    """Errors and half widths side by side, in % (shear in mrad)."""
    cells = []
    for name in NAMES:
        if name not in told:
            cells.append("no estimate")
            continue
        inside, error, half = told[name]
        unit = 1e3 if name == "shear_xy" else 1e2
        cells.append(f"{error * unit:+7.3f} ± {half * unit:5.3f}{' ' if inside else '!'}")
    return " | ".join(cells)


def main(first: int, last: int, kind: Kind) -> None:
    """Print the table and the counts."""
    known = kind.owner_knows()
    piece = SpanPiece.for_machine(
        bed_shape=known["bed_shape"], travel_mm=tuple(known["travel_mm"]), reach_mm=150.0
    )
    text = card_text("span", piece.to_dict(), known)
    print(f"{kind.name}, pitch {piece.pitch_mm:g} mm, {len(text.splitlines())} lines")
    print("seed | X error % | Y | Z | shear mrad")
    counts: dict[str, int] = dict.fromkeys(NAMES, 0)
    began = time.process_time()
    for seed in range(first, last + 1):
        found, hidden = asyncio.run(there_and_back(seed, kind, piece, text))
        told: dict[str, Any] = covered(found, hidden)
        for name in told:
            counts[name] += told[name][0]
        print(f"{seed:4d} | {row(told)}", flush=True)
    number = last - first + 1
    print(", ".join(f"{name} {count} of {number}" for name, count in counts.items()))
    print(f"{(time.process_time() - began) / number:.2f} s of CPU a round")


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]), KINDS[sys.argv[3] if sys.argv[3:] else "cartesian"])
