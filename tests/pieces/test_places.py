"""Where the jaws go: whether the places know the scale well enough, and suit bed and caliper."""

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asleft.errors import InputError
from asleft.pieces import SpanPiece, centre_mm, fits


def expected_u(piece, noise_mm=0.025, mpe_mm=0.03, reach_mm=150.0):
    """Standard uncertainties of (Sx, Sy, Sz, shear) by a design matrix of this test's own.

    Size of a face pair = length along the direction, stretched by the scales and leant by the
    shear, plus or minus growth, plus the zero of the jaws, plus the caliper's scale; priors as
    JCGM 100 takes them for limits of error.
    """
    rows, noise = [], []
    for place in piece.places():
        length = place.nominal_mm
        nx, ny, nz = {
            "X": (1, 0, 0),
            "Y": (0, 1, 0),
            "Z": (0, 0, 1),
            "XY+": (math.sqrt(0.5), math.sqrt(0.5), 0),
            "XY-": (-math.sqrt(0.5), math.sqrt(0.5), 0),
        }[place.direction]
        sign = 1 if place.faces == "outside" else -1
        growth = 0 if nz else sign
        uneven = {"X": sign, "Y": -sign}.get(place.direction, 0)
        rows.append(
            [
                *(nx * nx * length, ny * ny * length, nz * nz * length, nx * ny * length),
                *(growth, uneven, nz, sign > 0, sign < 0, length),
            ]
        )
        noise.append(noise_mm)
    limit = mpe_mm / math.sqrt(3)
    priors = {4: 0.25, 5: 0.05, 6: 0.25, 7: limit, 8: limit, 9: limit / reach_mm}
    for column, u in priors.items():
        rows.append([float(column == k) for k in range(10)])
        noise.append(u)
    design = np.array(rows, dtype=float) / np.array(noise)[:, None]
    return np.sqrt(np.diag(np.linalg.inv(design.T @ design)))[:4]


def test_the_places_of_the_ordinary_piece_know_scale_to_a_quarter_of_its_tolerance():
    u = expected_u(SpanPiece())
    assert (u[:3] <= 0.025e-2).all(), u
    assert u[3] <= 0.25e-3


def test_no_more_readings_than_an_evening_has_patience_for_with_labels_counted_up():
    places = SpanPiece().places()
    assert [p.label for p in places] == [str(n) for n in range(1, len(places) + 1)]
    assert len(places) <= 34
    assert len({p.where for p in places}) == len(places)
    jaws = [p.faces for p in places if p.direction != "Z"]
    assert jaws == sorted(jaws, reverse=True), "jaws are changed over once"


# Bed, reach and longest pitch from the requirements of the piece.
@pytest.mark.parametrize(
    ("bed", "travel", "reach", "low", "high"),
    [
        ("round", (120, 120, 120), 150, 60, 66),
        ("square", (180, 180, 180), 150, 95, 95),
        ("square", (220, 220, 220), 200, 130, 130),
        ("square", (300, 300, 300), 300, 140, 140),
    ],
)
def test_the_longest_piece_for_bed_and_caliper(bed, travel, reach, low, high):
    piece = SpanPiece.for_machine(bed_shape=bed, travel_mm=travel, reach_mm=reach)
    assert low <= piece.pitch_mm <= high
    assert fits(piece, bed, travel)


@given(
    bed=st.sampled_from(["square", "round"]),
    x=st.floats(40, 400),
    y=st.floats(40, 400),
    z=st.floats(12, 400),
    reach=st.floats(60, 400),
    column=st.booleans(),
)
@settings(max_examples=30, deadline=None)
def test_whatever_the_bed_the_piece_lies_on_it_or_the_hint_says_what_would_do(
    bed, x, y, z, reach, column
):
    try:
        piece = SpanPiece.for_machine(
            bed_shape=bed, travel_mm=(x, y, z), reach_mm=reach, column=column
        )
    except InputError as error:
        assert error.hint and any(sign.isdigit() for sign in error.hint)
        return
    assert max(p.nominal_mm for p in piece.places()) <= reach
    cx, cy = centre_mm(piece, bed)
    for px, py in piece.outline_mm():
        if bed == "round":
            assert math.hypot(px - cx, py - cy) <= x / 2 - 4.999
        else:
            assert abs(px - cx) <= x / 2 - 4.999 and abs(py - cy) <= y / 2 - 4.999
    assert max((piece.post_height_mm, *piece.column_heights_mm)) < z


def test_the_bed_that_the_hint_names_would_do():
    for bed in ("square", "round"):
        with pytest.raises(InputError) as caught:
            SpanPiece.for_machine(bed_shape=bed, travel_mm=(50, 50, 150), reach_mm=150)
        words = caught.value.hint.replace(".", " ").split()
        sizes = [float(word) for word in words if word.isdigit()]
        travel = (sizes[0], sizes[-1], 150)
        piece = SpanPiece.for_machine(bed_shape=bed, travel_mm=travel, reach_mm=150)
        assert fits(piece, bed, travel)


@pytest.mark.parametrize(
    "wrong",
    [
        {"pitch_mm": 30.0},
        {"pitch_mm": float("nan")},
        {"pitch_mm": -95.0},
        {"post_height_mm": 12.0},
        {"layer_mm": 0.25, "column_heights_mm": (20.1,)},
        {"layer_mm": 0.5},
        {"side_beads": 20},
        {"side_beads": 0},
        {"column_heights_mm": (60.0, 20.0)},
        {"column_heights_mm": (20.0, 40.0, 60.0, 80.0)},
        {"column_heights_mm": (float("inf"),)},
    ],
)
def test_what_cannot_be_made_is_refused_with_a_hint(wrong):
    with pytest.raises(InputError) as caught:
        SpanPiece(**wrong)
    assert caught.value.hint


def test_parameters_survive_a_file():
    piece = SpanPiece(pitch_mm=60.0, column_heights_mm=(10.0, 30.0), mark="BENCH 3")
    values = json.loads(json.dumps(piece.to_dict()))
    assert SpanPiece.from_dict({**values, "of_a_later_version": 1}) == piece
