"""What a verdict of `measure_more` advises: how many more, where, or what else."""

import math
from dataclasses import replace

import pytest

from asleft.measure.verdict import Evidence, judge, more_readings

BASE = Evidence(
    error=0.0006,
    u=0.0003,
    dof=math.inf,
    tolerance=0.001,
    u_readings=0.0002,
    readings=12,
    largest="the scatter of faces",
    remedy="print a longer piece",
    u_places=0.0002,
    along=" along Z",
)


def test_where_to_read_is_said() -> None:
    hand = replace(BASE, u_readings=0.00029, u_places=0.0)
    assert "more readings along Z would decide" in judge(hand).reason
    faces = replace(BASE, u_readings=0.00005, u_places=0.00028)
    assert "at places not read yet would decide" in judge(faces).reason


def test_repeats_at_the_same_places_promise_less() -> None:
    same, elsewhere = more_readings(BASE), more_readings(BASE, elsewhere=True)
    assert elsewhere is not None
    assert same is None or same >= elsewhere


@pytest.mark.parametrize(("places", "where"), [(0.0002, " at places not read yet"), (0.0, "")])
def test_too_few_readings_make_no_promise(places: float, where: str) -> None:
    # With two degrees of freedom the scatter may be three times what it looks.
    few = replace(
        BASE, dof=2.0, u_places=places, u_readings=math.hypot(0.00028, -places), readings=3
    )
    assert more_readings(few, elsewhere=True) is None
    reason = judge(few).reason
    assert f"take 3 more along Z{where}, to tell" in reason
    assert "no number" not in reason


def test_what_readings_cannot_shrink() -> None:
    reason = judge(replace(BASE, error=0.0008, u=0.0006, u_readings=0.0001, u_places=0.0)).reason
    assert "no number of readings" in reason
    assert "print a longer piece" in reason
