"""Scatter of readings, faces and heights, told apart where the data can tell."""

import numpy as np
import pytest

from asleft.measure import Instrument
from asleft.measure.span.fit import fit_span


def test_the_parts_are_found_where_there_is_plenty(piece, machine) -> None:
    m = machine(np.random.default_rng(21), noise=0.012, face=0.035, z_times=2.0)
    heights = tuple(float(h) for h in range(10, 110, 2))
    fit = fit_span(m.read(piece(n=3, pairs=30, heights=heights).rows()), Instrument(), 2.0)
    assert fit.scatter.reading_mm == pytest.approx(np.hypot(0.012, 0.0029), rel=0.1)
    assert fit.scatter.face_mm == pytest.approx(0.035, rel=0.12)
    assert fit.scatter.z_factor**0.5 == pytest.approx(2.0, rel=0.2)


def test_many_repeats_at_a_place_do_not_average_the_face_away(piece, machine) -> None:
    few, many = (
        fit_span(
            machine(np.random.default_rng(22), noise=0.01, face=0.03).read(piece(n=n).rows()),
            Instrument(),
            2.0,
        )
        for n in (3, 40)
    )
    u_few, u_many = (f.estimate(f.contrast(scale_X=1.0))[1] for f in (few, many))
    assert u_many > 0.7 * u_few


def test_a_coarse_instrument_is_never_better_than_its_digit(piece, machine) -> None:
    coarse = Instrument(resolution_mm=0.5)
    rows = piece(n=20).rows()
    readings = machine(np.random.default_rng(23), coarse, noise=0.001, face=0.0).read(rows)
    fit = fit_span(readings, coarse, 2.0)
    assert np.all(fit.scatter.variance(fit.sums) >= coarse.rounding_sd_mm**2 * 0.999)


def test_degrees_of_freedom_tell_poor_from_rich(piece, machine) -> None:
    m = machine(np.random.default_rng(24))
    poor = fit_span(m.read(piece(n=1, heights=()).rows()), Instrument(), 2.0)
    rich = fit_span(m.read(piece(n=4, pairs=10).rows()), Instrument(), 2.0)
    shear = poor.contrast(shear_XY=1.0)
    assert poor.dof(shear) < 8
    assert rich.dof(shear) > 30
