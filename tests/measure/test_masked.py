"""Many misreads at once, which hide each other from whoever drops the worst one by one."""

from dataclasses import replace

import numpy as np

from asleft.measure import Instrument
from asleft.measure.span.fit import fit_span


def test_one_in_ten_is_found(piece, machine) -> None:
    # Without the robust start one in six of these stays, being hidden by the others.
    missed = wronged = slips = good = 0
    for seed in range(25):
        readings = machine(np.random.default_rng(seed)).read(piece().rows())
        rng = np.random.default_rng(1000 + seed)
        slipped = rng.random(len(readings)) < 0.10
        by = slipped * rng.choice([-1.0, -0.5, -0.3, 0.3, 0.5, 1.0], slipped.size)
        read = [replace(r, reading_mm=r.reading_mm + s) for r, s in zip(readings, by, strict=True)]
        kept = fit_span(read, Instrument(), 2.0).misreads.kept
        missed, slips = missed + int((kept & slipped).sum()), slips + int(slipped.sum())
        wronged, good = wronged + int((~kept & ~slipped).sum()), good + int((~slipped).sum())
    assert slips > 80
    assert missed / slips < 0.05
    assert wronged / good < 1 / 200


def test_a_rough_face_is_no_misread(piece, machine) -> None:
    # All four readings agree that this face is 0.2 mm off: it is the face, not the eye.
    readings = machine(np.random.default_rng(5), noise=0.01, face=0.01).read(piece().rows())
    rough = [replace(r, reading_mm=r.reading_mm + 0.2 * (r.place == "X outside 0"))
             for r in readings]  # fmt: skip
    assert fit_span(rough, Instrument(), 2.0).misreads.kept.all()
    swapped = [replace(r, reading_mm=r.reading_mm + 24.0 * (r.place == "X inside 0"))
               for r in readings]  # fmt: skip
    kept = fit_span(swapped, Instrument(), 2.0).misreads.kept
    assert [r.place for r, k in zip(readings, kept, strict=True) if not k] == ["X inside 0"] * 4
