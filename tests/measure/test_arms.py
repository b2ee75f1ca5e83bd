"""Arms of a delta and motors of crossed belts, against kinematics written here anew.

Three spheres around the carriages' joints meet in the effector (geometry; no source needed).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
import pytest

from asleft.errors import InputError
from asleft.measure import DriveChange, Instrument, SpanReading, solve_span
from asleft.measure.span.arms import Arms

TOWERS = [np.array([math.cos(a), math.sin(a)]) for a in np.radians([210.0, 330.0, 90.0])]


def carriages(arms: Arms, place: Sequence[float]) -> np.ndarray:
    x, y, z = place
    hinges = [arms.radius_mm * tower for tower in TOWERS]
    return np.array(
        [z + math.sqrt(arms.length_mm**2 - (x - h[0]) ** 2 - (y - h[1]) ** 2) for h in hinges]
    )


def place(arms: Arms, stands: np.ndarray) -> np.ndarray:
    """Where three spheres of radius L meet: subtract them pairwise, then one quadratic."""
    centres = [np.array([*(arms.radius_mm * t), c]) for t, c in zip(TOWERS, stands, strict=True)]
    first = centres[1] - centres[0]
    d = float(np.linalg.norm(first))
    ex = first / d
    second = centres[2] - centres[0]
    i = float(ex @ second)
    ey = (second - i * ex) / np.linalg.norm(second - i * ex)
    ez, j = np.cross(ex, ey), float(ey @ second)
    x, y = d / 2, (i**2 + j**2) / (2 * j) - i / j * d / 2
    down = math.sqrt(arms.length_mm**2 - x**2 - y**2)
    meets = [centres[0] + x * ex + y * ey + side * down * ez for side in (1, -1)]
    return np.asarray(min(meets, key=lambda p: p[2]))


def round_the_bed(reach_mm: float) -> Iterator[list[float]]:
    for turn in np.radians(np.arange(0.0, 360.0, 7.5)):
        yield [reach_mm * math.cos(turn), reach_mm * math.sin(turn), 0.0]


def seen(told: Arms, true: Arms, reach_mm: float) -> tuple[float, float]:
    """Mean scale of X and Y, and mean height against the middle, of a machine told `told`."""
    middle = place(true, carriages(told, [0, 0, 0]))[2]
    there = [place(true, carriages(told, p)) for p in round_the_bed(reach_mm)]
    scale = np.mean([math.hypot(p[0], p[1]) for p in there]) / reach_mm - 1
    return float(scale), float(np.mean([p[2] for p in there]) - middle)


GIVEN = Arms(215.3, 105.4)


@pytest.mark.parametrize("reach_mm", [30.0, 50.0, 70.0])
@pytest.mark.parametrize("scale", [-0.012, -0.003, 0.0055, 0.01])
@pytest.mark.parametrize("given", [GIVEN, Arms(330.0, 155.0), Arms(250.0, 160.0)])
def test_new_arms_mend_the_scale_and_leave_the_bed_as_it_is(
    given: Arms, scale: float, reach_mm: float
) -> None:
    """Told the new arms, the old machine's map is the wanted one times 1/(1 + scale), no bowl."""
    new = given.corrected(scale, reach_mm)
    got, bowl_mm = seen(new, given, reach_mm)
    assert got == pytest.approx(1 / (1 + scale) - 1, rel=0.035)
    assert abs(bowl_mm) < 0.01 * abs(scale) * reach_mm
    # Length alone would bow the bed by hundredths.
    alone = Arms(given.length_mm * (1 + scale), given.radius_mm)
    assert abs(seen(alone, given, reach_mm)[1]) > 5 * abs(bowl_mm)


def test_an_arm_error_and_what_it_does() -> None:
    """An arm error of 0.4 % gives about 0.55 % in X and Y and a bowl of some 0.05 mm."""
    true = Arms(GIVEN.length_mm * 1.004, GIVEN.radius_mm)
    scale, bowl_mm = seen(GIVEN, true, 65.0)
    assert scale == pytest.approx(0.0055, abs=3e-4)
    assert bowl_mm == pytest.approx(0.053, abs=0.002)


def test_steps_bow_the_bed_too() -> None:
    stretch = 1 / 1.004
    middle = place(GIVEN, carriages(GIVEN, [0, 0, 0]) * stretch)[2]
    rim = [place(GIVEN, carriages(GIVEN, p) * stretch) for p in round_the_bed(50.0)]
    bowl_mm = float(np.mean([p[2] for p in rim])) - middle
    assert GIVEN.bowl_by_steps(stretch, 50.0) == pytest.approx(bowl_mm, rel=0.05)
    assert bowl_mm < -0.02


def test_the_uncertainty_is_that_of_the_scale_and_no_more() -> None:
    """Against a spread that is drawn (JCGM 101 in small)."""
    rng = np.random.default_rng(3)
    drawn = [GIVEN.corrected(s) for s in rng.normal(0.006, 0.0004, 300)]
    u = GIVEN.corrected_u(0.006, 0.0004)
    spread = np.std([[a.length_mm, a.radius_mm] for a in drawn], axis=0)
    assert u == pytest.approx(tuple(spread), rel=0.12)


@pytest.mark.parametrize(("length", "radius"), [(100.0, 100.0), (90.0, 120.0), (0.0, 0.0)])
def test_arms_that_cannot_reach_are_refused(length: float, radius: float) -> None:
    with pytest.raises(InputError):
        Arms(length, radius)


def test_belts_share_their_motors() -> None:
    """Motors off by +0.4 and -0.2 % print squares as lozenges of 6 mrad."""
    change = DriveChange("crossed-belt").motion({"X": 80.0, "Y": 80.0}, {"X": 80.32, "Y": 79.84})
    x, y = change[:2, 0], change[:2, 1]
    off_square = math.pi / 2 - math.acos(x @ y / np.linalg.norm(x) / np.linalg.norm(y))
    assert off_square == pytest.approx(0.0060, abs=1e-4)
    assert change[0, 0] == change[1, 1] == pytest.approx(1.001)


CALIPER = Instrument(resolution_mm=0.01, mpe_mm=0.02, reach_mm=150.0)


def piece(x: float, y: float, z: float, *, shear: float = 0.0) -> list[SpanReading]:
    """Readings of a piece with these scales, 0.1 mm of growth, hardly any scatter."""
    rows = []
    for axis, scale in (("X", x), ("Y", y)):
        for faces, sign in (("outside", 1.0), ("inside", -1.0)):
            size = 95.0 + sign * 12
            off = sign * 0.1
            rows += [
                SpanReading(axis, faces, size, size * (1 + scale) + off + d, place=f"{axis}{faces}")
                for d in (0.004, -0.004, 0.0)
            ]
    for way, sign in (("XY+", 1.0), ("XY-", -1.0)):
        scale = (x + y) / 2 + sign * shear / 2
        rows += [
            SpanReading(way, "outside", 120.0, 120 * (1 + scale) + 0.1 + d, place=way)
            for d in (0.004, -0.004)
        ]
    for size in (20.0, 60.0, 100.0):
        rows += [
            SpanReading("Z", "same", size, size * (1 + z) + d, place=f"Z{size}")
            for d in (0.003, -0.003)
        ]
    return rows


DELTA = {"X": 80.0, "Y": 80.0, "Z": 80.0}


def proposals(rows: list[SpanReading], **given: object) -> dict[str, object]:
    usual: dict[str, object] = {"in_force": DELTA, "skew": None, "drive": "delta"}
    found = solve_span(rows, instrument=CALIPER, **{**usual, **given})  # type: ignore[arg-type]
    return {p.axis: p for p in found.proposals if p.place == "controller"}


def test_arms_are_proposed_together_for_what_steps_leave() -> None:
    told = proposals(piece(0.006, 0.006, 0.0), arms={"L": 215.3, "R": 105.4})
    assert {told[a].verdict for a in "XYZ"} == {"leave"}
    assert (told["L"].verdict, told["R"].verdict) == ("adjust", "adjust")
    wanted = GIVEN.corrected(0.006, 60.0)
    assert told["L"].proposed == pytest.approx(wanted.length_mm, abs=0.02)
    assert told["R"].proposed == pytest.approx(wanted.radius_mm, abs=0.02)
    assert told["L"].u > told["R"].u > 0
    assert "home it, set the height" in told["L"].reason


def test_steps_alone_leave_the_arms_alone() -> None:
    told = proposals(piece(0.005, 0.005, 0.005), arms={"L": 215.3, "R": 105.4})
    assert {told[a].verdict for a in "XYZ"} == {"adjust"}
    assert told["X"].proposed == told["Z"].proposed == pytest.approx(80 / 1.005, rel=1e-4)
    assert (told["L"].verdict, told["R"].verdict) == ("leave", "leave")
    assert "level" in told["Z"].reason


def test_both_are_told_apart() -> None:
    told = proposals(piece(0.010, 0.010, 0.004), arms={"L": 215.3, "R": 105.4})
    assert told["Z"].proposed == pytest.approx(80 / 1.004, rel=2e-4)
    wanted = GIVEN.corrected(1.010 / 1.004 - 1, 60.0)
    assert told["L"].proposed == pytest.approx(wanted.length_mm, abs=0.05)


def test_arms_cannot_mend_x_against_y_and_unknown_ones_get_no_number() -> None:
    apart = proposals(piece(0.008, 0.0, 0.0), arms={"L": 215.3, "R": 105.4})
    assert apart["L"].verdict == "inspect" and "cannot mend" in apart["L"].reason
    unknown = proposals(piece(0.006, 0.006, 0.0))
    assert (unknown["L"].in_force, unknown["L"].proposed, unknown["L"].u) == (None, None, None)
    assert "unknown" in unknown["L"].reason


def test_without_heights_nothing_of_a_delta_is_adjusted() -> None:
    rows = [r for r in piece(0.006, 0.006, 0.0) if r.direction != "Z"]
    told = proposals(rows, arms={"L": 215.3, "R": 105.4})
    assert {p.verdict for p in (told["X"], told["Y"])} == {"measure_more"} and "L" not in told


def test_belts_take_one_value_and_shear_goes_to_skew() -> None:
    rows = piece(0.004, 0.004, 0.0, shear=0.006)
    steps = {"X": 80.0, "Y": 80.02, "Z": 400.0}
    told = proposals(rows, drive="crossed-belt", in_force=steps, skew={"XY": 0.0})
    assert told["X"].proposed == told["Y"].proposed == pytest.approx(80.01 / 1.004, rel=1e-4)
    assert told["X"].u == told["Y"].u and told["X"].verdict == "adjust"
    assert (told["X"].in_force, told["Y"].in_force) == (80.0, 80.02)
    assert told["XY"].verdict == "adjust"
    assert abs(told["XY"].proposed) == pytest.approx(0.006, abs=3e-4)
    unlike = proposals(rows, drive="crossed-belt", in_force={**steps, "Y": 80.48}, skew=None)
    assert unlike["X"].verdict == "inspect" and "6.0 mrad" in unlike["X"].reason
