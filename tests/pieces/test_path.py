"""The bars of a tool path, met by an independent reader of the finished file over random sets.

`ASLEFT_SETS=60` takes more sets of parameters than the ordinary run.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent))
import bars

from asleft.errors import InputError
from asleft.pieces import BeadPiece, FitPiece, SpanPiece
from asleft.pieces.path import PathSettings, tool_path
from asleft.pieces.solid import bodies
from asleft.pieces.stl import stl_bytes

SETS = int(os.environ.get("ASLEFT_SETS", "8"))
NOZZLES = (0.25, 0.4, 0.6, 0.8)


def some_settings(rng, nozzle, **more):
    """A bed, a filament, an origin, a way to feed: anything that a machine may have."""
    bed_round = bool(rng.random() < 0.4)
    side = float(rng.uniform(190, 300))
    return PathSettings(
        nozzle_c=float(rng.integers(190, 250)),
        bed_c=float(rng.integers(0, 90)),
        nozzle_mm=nozzle,
        filament_mm=float(rng.choice([1.75, 2.85])),
        bed_shape="round" if bed_round else "square",
        travel_mm=(side, side if bed_round else float(rng.uniform(190, 300)), 220.0),
        origin=[None, "corner", "centre"][rng.integers(3)],
        relative_feed=bool(rng.random() < 0.5),
        retract_mm=float(rng.choice([0.0, 0.8, 4.0])),
        **more,
    )


def some_bead(rng, layers):
    """Nozzle, line width and a layer that goes with both."""
    nozzle = float(rng.choice(NOZZLES))
    width = round(nozzle * float(rng.uniform(1.05, 1.35)), 3)
    fitting = [h for h in layers if 0.2 * width <= h <= min(0.8 * width, 0.75 * nozzle)]
    return nozzle, width, float(rng.choice(fitting))


def some_span(rng):
    nozzle, width, layer = some_bead(rng, (0.1, 0.125, 0.2, 0.25))
    for _ in range(100):
        try:
            piece = SpanPiece(
                pitch_mm=float(rng.uniform(62, 110)),
                post_mm=float(rng.uniform(11, 16)),
                side_beads=int(rng.integers(1, 9)),
                diagonal_beads=int(rng.integers(1, 9)),
                line_width_mm=width,
                layer_mm=layer,
                column_heights_mm=() if rng.random() < 0.7 else (10.0, 20.0),
                mark=str(rng.choice(["", "7", "B-2"])),
            )
            bodies(piece)
        except InputError:
            continue
        return piece, some_settings(rng, nozzle)
    raise AssertionError("no span piece was found")


def some_bead_piece(rng):
    nozzle = float(rng.choice(NOZZLES))
    piece = BeadPiece.for_nozzle(
        nozzle,
        flats_mm=float(rng.uniform(30, 90)),
        layer_mm=0.2 if nozzle > 0.3 else 0.1,
        band_mm=float(rng.choice([6.0, 8.0])),
    )
    return piece, some_settings(rng, nozzle)


def some_fit(rng):
    nozzle, width, layer = some_bead(rng, (0.1, 0.2, 0.25))
    settings = some_settings(rng, nozzle)
    piece = FitPiece.for_machine(
        bed_shape=settings.bed_shape,
        travel_mm=settings.travel_mm,
        gauge_mm=float(rng.uniform(3, 20)),
        parts=str(rng.choice(["bores", "pins", "both"])),
        tighter=1,
        wider=2,
        line_width_mm=width,
        layer_mm=layer,
    )
    return piece, settings


def span_closed(piece, z):
    """Near the bed and below the tops all is closed; between, the ribs are."""
    import shapely

    skin = bars.SKIN_MM - 1e-6
    top = max((piece.post_height_mm, *piece.column_heights_mm))
    if z < skin or z > top - skin:
        return None
    if not 2.2 < z < piece.base_height_mm or piece.column_heights_mm:
        return False
    half = piece.pitch_mm / 2
    posts = [
        shapely.Point(sx * half, sy * half).buffer(piece.post_mm * 0.6)
        for sx in (-1, 1)
        for sy in (-1, 1)
    ]
    return shapely.box(-half - 9, -half - 9, half + 9, half + 9).difference(
        shapely.union_all(posts)
    )


def fit_closed(piece, z):
    return None if z < bars.SKIN_MM - 1e-6 else False


CASES = {
    "span": (some_span, bars.span_faces, span_closed),
    "bead": (some_bead_piece, bars.bead_faces, lambda piece, z: None),
    "fit": (some_fit, bars.fit_faces, fit_closed),
}


@pytest.mark.parametrize("seed", range(SETS))
@pytest.mark.parametrize("kind", CASES)
def test_every_bar_is_met_by_the_finished_file(kind, seed):
    draw, faces_of, solid_of = CASES[kind]
    piece, settings = draw(np.random.default_rng([seed, len(kind), ord(kind[0])]))
    path = tool_path(piece, settings)
    stl = stl_bytes(bodies(piece), "test")
    found = bars.figures(piece, stl, path.text, settings, faces_of, solid_of)
    if os.environ.get("ASLEFT_SHOW"):
        print(f"FIG {kind} {seed}", found, piece, settings)
    assert not found.problems(settings.most_mm3_s), (piece, settings)
