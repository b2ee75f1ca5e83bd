"""Drawn, executed, read, solved: the truth lies where the estimate says, on every drive.

A small seeded share of `benchmarks/round_trip.py`, which counts over as many seeds as are wanted.
"""

from __future__ import annotations

import asyncio

import pytest

from asleft.cli.practice_card import card_text
from asleft.measure import Instrument, SpanReading, solve_span
from asleft.pieces import SpanPiece
from asleft.practice.clock import Clock
from asleft.practice.words.kinds import KINDS
from asleft.practice.workshop import Workshop

PIECE = SpanPiece(column_heights_mm=(20.0, 40.0, 60.0))


async def read_all(seed: int, name: str) -> tuple[list[SpanReading], dict[str, float], Workshop]:
    kind = KINDS[name]
    workshop = Workshop(seed=seed, kind=kind, clock=Clock(1000))
    workshop.board.start()
    await workshop.booted()
    text = card_text("span", PIECE.to_dict(), kind.owner_knows())
    told = await workshop.do("print", piece="span", parameters=PIECE.to_dict(), text=text)
    assert told["refused"] == []
    readings = []
    for p in PIECE.places():
        seen = await workshop.do(
            "measure",
            direction=p.direction,
            faces=p.faces,
            nominal_mm=p.nominal_mm,
            label=p.label,
        )
        readings.append(
            SpanReading(p.direction, p.faces, p.nominal_mm, float(seen["text"]), p.label)
        )
    hidden = (await workshop.do("reveal"))["hidden"]
    await workshop.board.stop()
    return readings, hidden, workshop


@pytest.mark.parametrize(("name", "seed"), [("cartesian", 3), ("crossed-belt", 4), ("delta", 5)])
def test_the_truth_lies_within_the_stated_interval(name: str, seed: int) -> None:
    readings, hidden, workshop = asyncio.run(read_all(seed, name))
    held = workshop.board.settings.in_force
    found = solve_span(
        readings,
        instrument=Instrument(**workshop.person.caliper.owner_knows()),
        in_force={axis: held["M92"][axis] for axis in "XYZ"},
        skew={"XY": held["M852"]["I"]} if "M852" in held else None,
        drive=workshop.board.kind.drive,
    )
    seen = set()
    for q in found.quantities:
        wanted = {"printed_scale": q.axis, "shear": "shear_xy"}.get(q.name)
        if wanted in hidden:
            seen.add(wanted)
            assert q.low95 is not None and q.high95 is not None
            assert q.low95 <= hidden[wanted] <= q.high95, (wanted, q, hidden[wanted])
    assert seen == {"X", "Y", "Z", "shear_xy"}
