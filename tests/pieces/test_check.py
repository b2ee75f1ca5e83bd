"""Stiffness against closed formulas for beams, and cost against its goal."""

import math
from dataclasses import replace

import numpy as np
import pytest

from asleft.pieces import SpanPiece
from asleft.pieces.check import _beam, _sections, stiffened, stiffness
from asleft.pieces.cost import column_cost, span_cost

PLAIN = {"base_height_mm": 8.0, "middle_height_mm": 8.0}


def lone_rib_mm(piece, width, length, force=5.0, modulus=2400.0):
    """Give of two posts on one straight rib: F·e²·L/(E·I) by bending, F·L/(E·A) by stretching.

    Beam theory: the force acts e above the rib's axis, so the rib bends under a constant moment.
    """
    height = piece.base_height_mm
    lever = (9 + 14) / 2 - height / 2
    inertia = width * height**3 / 12
    return force * length / modulus * (lever**2 / inertia + 1 / (width * height))


def test_diagonal_with_slender_sides_bends_nearly_like_a_rib_alone():
    piece = SpanPiece(side_beads=1, diagonal_beads=6, **PLAIN)
    alone = lone_rib_mm(piece, piece.rib_mm(6), 95 * math.sqrt(2))
    gives = stiffness(piece).gives_mm
    assert 0.85 * alone < gives["XY+"] < alone


def test_side_with_slender_cross_bends_nearly_like_a_rib_alone():
    piece = SpanPiece(side_beads=8, diagonal_beads=1, **PLAIN)
    alone = lone_rib_mm(piece, piece.rib_mm(8), 95)
    gives = stiffness(piece).gives_mm
    assert 0.85 * alone < gives["X"] < alone


@pytest.mark.parametrize(
    ("sizes", "in_bricks_mm"),
    [({"side_beads": 4}, 0.0701), ({"side_beads": 6}, 0.0602), ({"pitch_mm": 60.0}, 0.0583)],
)
def test_the_beams_of_one_raised_rib_give_what_solid_elements_give(sizes, in_bricks_mm):
    """By the unit-load theorem: the sum of F·e²·l/(E·I) + F·l/(E·A) over parts of length l.

    Against `python -m benchmarks.rib_in_bricks`, which shares no code with the frame.
    """
    piece = SpanPiece(**sizes)
    far = np.array([piece.pitch_mm, 0.0, 0.0])
    wide = piece.rib_mm(piece.side_beads)
    places, sections = _sections(piece, np.zeros(3), far, wide, to_post=True)
    lengths = np.linalg.norm(np.diff(places, axis=0), axis=1)
    alone = sum(
        5 * length / 2400 * ((12 - high / 2) ** 2 / (wide * high**3 / 12) + 1 / (wide * high))
        for length, (wide, high) in zip(lengths, sections, strict=True)
    )
    assert sum(lengths) == pytest.approx(piece.pitch_mm)
    assert alone == pytest.approx(in_bricks_mm, rel=0.05)


@pytest.mark.parametrize(("pitch", "nozzle"), [(60, 0.4), (95, 0.4), (140, 0.4), (95, 0.25)])
def test_ribs_are_as_stiff_as_a_light_jaw_asks_whatever_the_pitch_and_the_nozzle(pitch, nozzle):
    width, layer = round(1.125 * nozzle, 3), 0.2 if nozzle > 0.3 else 0.1
    piece = stiffened(SpanPiece(pitch_mm=pitch, line_width_mm=width, layer_mm=layer))
    assert stiffness(piece).post_mm < 0.03
    assert piece.places() == SpanPiece(pitch_mm=pitch).places()


@pytest.mark.parametrize("end", [(100.0, 0.0), (0.0, 100.0), (60.0, 80.0)])
def test_one_beam_held_at_one_end_bends_and_twists_by_the_closed_formulas(end):
    """F·L³/(3·E·I), F·L/(E·A) and T·L/(G·J), J of a square 0.1406·a⁴ (any table of sections)."""
    along = np.array([*end, 0.0]) / 100
    side = np.array([-along[1], along[0], 0.0])
    up = np.array([0.0, 0.0, 1.0])
    for width, height in ((2.0, 8.0), (6.0, 6.0)):
        free = np.linalg.inv(_beam(np.zeros(3), 100 * along, width, height, 2400.0)[6:, 6:])
        for way, inertia in ((up, width * height**3), (side, height * width**3)):
            load = np.r_[way, 0, 0, 0]
            assert load @ free @ load == pytest.approx(100**3 / (3 * 2400 * inertia / 12))
        load = np.r_[along, 0, 0, 0]
        assert load @ free @ load == pytest.approx(100 / (2400 * width * height))
    twist = np.r_[0, 0, 0, along]
    shear = 2400 / (2 * 1.35)
    assert twist @ free @ twist == pytest.approx(100 / (shear * 0.1406 * 6**4), rel=5e-3)


def test_square_gives_alike_both_ways_and_in_proportion_to_force():
    piece = SpanPiece()
    five, one = stiffness(piece), stiffness(piece, force_n=1.0)
    assert five.gives_mm["X"] == pytest.approx(five.gives_mm["Y"])
    assert five.gives_mm["XY+"] == pytest.approx(five.gives_mm["XY-"])
    assert five.worst_mm == pytest.approx(5 * one.worst_mm)
    stiffer = stiffness(SpanPiece(side_beads=8, diagonal_beads=8))
    assert stiffer.worst_mm < five.worst_mm


def test_unequal_force_of_one_newton_costs_less_than_half_the_aim():
    """Equal force cancels in scale; of unequal force half the difference stays, over the pitch."""
    piece = SpanPiece()
    give = stiffness(piece, force_n=1.0).gives_mm["X"]
    assert give / 2 / piece.pitch_mm < 0.0125e-2


def test_ordinary_piece_stays_within_an_evening():
    span = span_cost(SpanPiece())
    assert span.grams <= 15 and span.minutes <= 60


def test_column_of_nothing_costs_nothing_and_solid_plastic_is_never_exceeded():
    assert column_cost(SpanPiece(column_heights_mm=())).grams == 0
    solid_mm3 = 8 * 12 * (20 + 60 + 100)
    assert 0.2 * solid_mm3 < column_cost(SpanPiece()).grams / 1.24e-3 < 0.7 * solid_mm3


@pytest.mark.parametrize("pitch", [62.0, 95.0, 140.0])
@pytest.mark.parametrize(("width", "layer"), [(0.45, 0.2), (0.68, 0.3), (0.25, 0.1)])
def test_ribs_are_as_wide_as_the_light_force_of_a_caliper_asks(pitch, width, layer):
    """5 N move a post by less than 0.03 mm, and one bead less would not do."""
    piece = SpanPiece(pitch_mm=pitch, line_width_mm=width, layer_mm=layer, column_heights_mm=())
    found = stiffened(piece)
    assert stiffness(found).post_mm < 0.03
    if found.side_beads > 2:
        less = replace(
            found, side_beads=found.side_beads - 1, diagonal_beads=found.diagonal_beads - 1
        )
        assert stiffness(less).post_mm >= 0.03
