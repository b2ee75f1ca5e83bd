"""The bars of a tool path, met by an independent reader of the finished file over random sets.

`ASLEFT_SETS=60` takes more sets of parameters than the ordinary run.
"""

from __future__ import annotations

import os
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely

sys.path.insert(0, str(Path(__file__).parent))
import bars
from path_reader import read_path

from asleft.errors import InputError
from asleft.pieces import BeadPiece, FitPiece, SpanPiece, line_sizes, ring_for
from asleft.pieces.path import PathSettings, tool_path
from asleft.pieces.path.legs import Leg
from asleft.pieces.path.pace import seconds
from asleft.pieces.path.route import KeepOut, route
from asleft.pieces.solid import bodies
from asleft.pieces.stl import stl_bytes

SETS = int(os.environ.get("ASLEFT_SETS", "0"))
FEW = {"span": 6, "bead": 10, "fit": 3}  # so that an ordinary run stays short
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


@pytest.mark.parametrize(
    ("kind", "seed"), [(kind, n) for kind in CASES for n in range(SETS or FEW[kind])]
)
def test_every_bar_is_met_by_the_finished_file(kind, seed):
    draw, faces_of, solid_of = CASES[kind]
    piece, settings = draw(np.random.default_rng([seed, len(kind), ord(kind[0])]))
    path = tool_path(piece, settings)
    stl = stl_bytes(bodies(piece), "test")
    found = bars.figures(piece, stl, path.text, settings, faces_of, solid_of)
    assert not found.problems(settings.most_mm3_s), (piece, settings)


PLAIN = PathSettings(nozzle_c=205, bed_c=60)
BED = {"bed_shape": "square", "travel_mm": PLAIN.travel_mm}


@pytest.mark.parametrize(
    ("kind", "nozzle", "piece"),
    [
        ("bead", 0.2, ring_for(0.2)),
        ("bead", 1.0, ring_for(1.0)),
        ("span", 1.0, replace(SpanPiece(pitch_mm=60, column_heights_mm=()), side_beads=2,
                              diagonal_beads=2, **line_sizes("span", 1.0))),
        ("fit", 1.0, FitPiece.for_machine(gauge_mm=8.0, tighter=0, wider=1, **BED,
                                          **line_sizes("fit", 1.0))),
    ],
)  # fmt: skip
def test_every_bar_is_met_with_the_defaults_of_the_finest_and_the_widest_nozzle(
    kind, nozzle, piece
):
    settings = replace(PLAIN, nozzle_mm=nozzle)
    path, (_, faces_of, solid_of) = tool_path(piece, settings), CASES[kind]
    stl = stl_bytes(bodies(piece), "test")
    found = bars.figures(piece, stl, path.text, settings, faces_of, solid_of)
    assert not found.problems(settings.most_mm3_s)


@pytest.mark.parametrize("piece", [BeadPiece(), SpanPiece(pitch_mm=62, column_heights_mm=())])
def test_grams_are_those_that_the_reader_finds_and_the_same_piece_gives_the_same_file(piece):
    path = tool_path(piece, PLAIN)
    read = read_path(path.text, filament_mm=1.75)
    assert path.filament_mm == pytest.approx(read.filament_mm, abs=1e-3)
    assert path.grams == pytest.approx(read.filament_mm * 1.75**2 * np.pi / 4 * 1.24e-3, rel=1e-5)
    assert path.peak_mm3_s == pytest.approx(read.highest_mm3_s, rel=0.02)
    assert tool_path(piece, PLAIN).text == path.text


def test_absolute_and_relative_feed_lay_the_same_beads():
    piece = BeadPiece(flats_mm=30.0)
    one = read_path(tool_path(piece, PLAIN).text, filament_mm=1.75)
    relative = replace(PLAIN, relative_feed=True)
    two = read_path(tool_path(piece, relative).text, filament_mm=1.75)
    assert one.faults == two.faults == []
    for z, moves in one.layers.items():
        fed = [(m.end, m.fed_mm3) for m in moves]
        assert fed == [(m.end, pytest.approx(m.fed_mm3, abs=1e-4)) for m in two.layers[z]]


def test_minutes_are_never_below_way_over_speed_nor_far_above():
    """A straight count of way over speed is what no acceleration would allow to beat."""
    for piece in (BeadPiece(), SpanPiece(pitch_mm=62, column_heights_mm=())):
        path = tool_path(piece, PLAIN)
        read = read_path(path.text, filament_mm=1.75)
        bare = sum(m.length / m.mm_s for moves in read.layers.values() for m in moves) / 60
        assert bare < path.minutes < 1.5 * bare


def test_a_ramp_takes_what_physics_says():
    """From rest to rest over a length L at speed v and acceleration a: L/v + v/a (mechanics)."""
    leg = Leg(np.array([[100.0, 0.0]]), 50.0)
    assert seconds([leg], (0.0, 0.0), PLAIN) == pytest.approx(100 / 50 + 50 / 1000)
    short = Leg(np.array([[1.0, 0.0]]), 50.0)  # too short to reach v: 2·√(L/a)
    assert seconds([short], (0.0, 0.0), PLAIN) == pytest.approx(2 * (1 / 1000) ** 0.5)


def test_an_ordinary_piece_stays_within_an_evening():
    path = tool_path(SpanPiece(column_heights_mm=()), PLAIN)
    assert path.grams <= 15 and path.minutes <= 60


@pytest.mark.parametrize(
    ("piece", "more", "would_do"),
    [
        (SpanPiece(line_width_mm=0.9, side_beads=2, diagonal_beads=2), {}, "0.8 mm"),
        (BeadPiece(), {"nozzle_mm": 0.6}, "0.6 mm"),
        (BeadPiece(layer_mm=0.32), {"nozzle_mm": 0.4}, "0.3 mm"),
        (SpanPiece(), {"travel_mm": (100.0, 100.0, 100.0)}, "bed"),
    ],
)
def test_what_this_machine_cannot_print_is_refused(piece, more, would_do):
    with pytest.raises(InputError) as caught:
        tool_path(piece, replace(PLAIN, **more))
    assert would_do in caught.value.hint


@pytest.mark.parametrize("seed", range(40))
def test_a_way_round_outlines_enters_none_and_is_short(seed):
    rng = np.random.default_rng(seed)
    turns = np.linspace(0, 2 * np.pi, 9)[:-1]
    rings = [
        [(x * 20 + 6 * np.cos(a), y * 20 + 6 * np.sin(a)) for a in turns]
        for x in range(3)
        for y in range(3)
    ]
    areas = shapely.union_all([shapely.Polygon(r).buffer(-1e-3) for r in rings])
    while True:
        start, end = rng.uniform(-12, 52, (2, 2))
        if not areas.intersects(shapely.MultiPoint([start, end]).buffer(1.0)):
            break
    keep_outs = [KeepOut(tuple((float(x), float(y)) for x, y in r)) for r in rings]
    way = route((float(start[0]), float(start[1])), (float(end[0]), float(end[1])), keep_outs)
    line = shapely.LineString(way)
    assert way[0] == tuple(start) and way[-1] == tuple(end)
    assert not line.intersects(areas)
    assert line.length < 2 * np.hypot(*(end - start)) + 20


def test_outer_walls_come_first_on_every_post_and_run_the_same_way_round():
    piece = SpanPiece(pitch_mm=62, column_heights_mm=())
    read = read_path(tool_path(piece, PLAIN).text, filament_mm=1.75)
    above = [z for z in read.layers if piece.base_height_mm < z - 0.1]
    assert len(above) == 30
    for z in above:
        first: dict[tuple[bool, bool], list[tuple[float, float]]] = {}
        done = set()
        for m in read.layers[z]:
            post = (m.start[0] > 110, m.start[1] > 110)
            if max(abs(abs(at - 110) - 31) for at in m.start) > 7:
                continue  # on a raised rib
            if not m.fed_mm3:
                done |= {post} & set(first)
            elif post not in done:
                first.setdefault(post, [m.start]).append(m.end)
        assert len(first) == 4
        for loop in first.values():
            ring = shapely.LinearRing(loop)
            assert ring.is_ccw and loop[0] == loop[-1]
            # The outermost path of an octagon over flats w lies half a bead within it.
            across = piece.post_mm - piece.line_width_mm
            area = 2 * (np.sqrt(2) - 1) * across**2
            assert shapely.Polygon(ring).area == pytest.approx(area, rel=1e-3)
