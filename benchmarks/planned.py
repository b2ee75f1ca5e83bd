"""What a span trial's plan expects against what comes of it: the piece as drawn, read many times.

Run it with `python -m benchmarks.planned [N]`; N simulated evenings a piece, 1000 unless given.
Machine, caliper and hand are drawn afresh each time from what the plan takes for granted; how far
the solver's figures then lie from the truth is told beside what the plan had said. Shares no code
with the plan: every error is drawn and added up here.
"""

from __future__ import annotations

import math
import sys

import numpy as np

from asleft.measure import Instrument, SpanReading, plan_span, solve_span
from asleft.pieces import SpanPiece

READING_MM, FACE_MM = 0.025, 0.02
PIECES = (
    (SpanPiece(pitch_mm=60.0), 150.0),
    (SpanPiece(), 150.0),
    (SpanPiece(pitch_mm=130.0), 200.0),
)
_LIMIT = 1 / math.sqrt(3)  # a standard deviation for limits of error (JCGM 100, 4.3.7)


def evening(
    rng: np.random.Generator, piece: SpanPiece, caliper: Instrument
) -> tuple[list[SpanReading], dict[str, float]]:
    """One set of readings, and what was true."""
    scale = dict(zip("XYZ", rng.normal(0, 0.004, 3), strict=True))
    shear = rng.normal(0, 0.002)
    growth, uneven, force = rng.normal(0, (0.25, 0.05, 0.03))
    zeros = dict(zip(("outside", "inside"), rng.normal(0, caliper.mpe_mm * _LIMIT, 2), strict=True))
    wrong = rng.normal(0, caliper.mpe_mm * _LIMIT / caliper.reach_mm) + rng.normal(0, 70e-6 * 2)
    layer = rng.normal(0, 0.25)
    readings = []
    for place in piece.places():
        sign = 1.0 if place.faces == "outside" else -1.0
        if place.direction == "Z":
            length = place.nominal_mm * (1 + scale["Z"]) + layer
        else:
            x, y = {"X": (1, 0), "Y": (0, 1), "XY+": (0.5**0.5, 0.5**0.5)}.get(
                place.direction, (-(0.5**0.5), 0.5**0.5)
            )
            centres = place.nominal_mm - sign * piece.post_mm
            dx = (x * (1 + scale["X"]) + y * shear) * centres
            length = math.hypot(dx, y * (1 + scale["Y"]) * centres) + sign * piece.post_mm
            split = {"X": 1.0, "Y": -1.0}.get(place.direction, 0.0) * uneven
            length += sign * (growth + split)
        value = length * (1 + wrong) + zeros[place.faces] + rng.normal(0, READING_MM)
        value += rng.normal(0, FACE_MM) - sign * force
        readings.append(
            SpanReading(place.direction, place.faces, place.nominal_mm, value, place.label)
        )
    return readings, {**scale, "XY": shear}


def main() -> None:
    """Print expected and reached, piece by piece."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    rng = np.random.default_rng(1)
    for piece, reach_mm in PIECES:
        caliper = Instrument(reach_mm=reach_mm)
        plan = plan_span(
            piece.places(), instrument=caliper, reading_sd_mm=READING_MM, face_sd_mm=FACE_MM
        )
        off: dict[str, list[float]] = {}
        for _ in range(count):
            readings, truth = evening(rng, piece, caliper)
            found = solve_span(readings, instrument=caliper, in_force={}, skew=None)
            for q in found.quantities:
                if q.name in ("printed_scale", "shear"):
                    key = str(q.axis or q.plane)
                    off.setdefault(key, []).append(q.value - truth[key])
        for expected in plan.expected:
            if expected.axis not in off:
                continue
            rms = float(np.sqrt(np.mean(np.square(off[expected.axis]))))
            print(
                f"{piece.pitch_mm:g} mm, {expected.name} {expected.axis}: planned "
                f"{expected.u:.3e}, reached {rms:.3e}, {rms / expected.u - 1:+.1%}"
            )


if __name__ == "__main__":
    main()
