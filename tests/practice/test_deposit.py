"""The piece follows from what was executed: a file spoilt on purpose gives a wrong piece."""

from __future__ import annotations

import math
import re
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from asleft.errors import RefusedError
from asleft.pieces import BeadPiece, FitPiece, SpanPiece, centre_mm
from asleft.practice.body.piece import MotionErrors
from asleft.practice.body.truth import Truth, draw_truth
from asleft.practice.errors import CannotError
from asleft.practice.printed.printing import as_printed
from asleft.practice.words.kinds import KINDS

SPAN = SpanPiece(pitch_mm=60.0, column_heights_mm=(12.0, 20.0))
BEAD = BeadPiece()
FIT = FitPiece(tighter=1, wider=1, height_mm=4.0)
KIND = KINDS["cartesian"]
STILL = MotionErrors(dict.fromkeys("XYZE", 0.0), 0.0, 1.0)
NO_TRUTH: Truth = replace(
    draw_truth(np.random.default_rng(0)),
    shear=0.0,
    growth_mm=0.0,
    first_layer_mm=0.0,
    shrinkage=dict.fromkeys("XYZ", 0.0),
    reversal_mm={},
    slip_onset_mm_min=1e6,
    corner_bulge_mm=0.0,
    periodic_mm=dict.fromkeys("XYZ", 0.0),
    face_scatter_mm=0.0,
    drift_mm=0.0,
)
# What is left of a machine without errors: growth between two pieces, and the filament's scatter.
LEFT_MM = 0.03


@pytest.fixture
def made(executed) -> Callable[..., Any]:
    """A piece as a machine makes it that has no errors but those stated."""

    def make(piece, text: str, motion: MotionErrors = STILL, **truth: Any):
        moves, _, _ = executed(text)
        told = replace(NO_TRUTH, **truth)
        return as_printed(piece, moves, motion, told, kind=KIND, seed=3)

    return make


def alter(text: str, change: Callable[[dict[str, float]], dict[str, float] | None]) -> str:
    """Rewrite the words of every line that moves; None leaves the line out."""
    lines = []
    for line in text.splitlines():
        if not line.startswith(("G0 ", "G1 ")):
            lines.append(line)
            continue
        words = {w[0]: float(w[1:]) for w in line.split()[1:]}
        changed = change(words)
        if changed is not None:
            told = " ".join(f"{k}{v:.6f}" for k, v in changed.items())
            lines.append(f"{line[:2]} {told}")
    return "\n".join(lines)


def off_mm(printed, directions: str = "X", faces: str = "outside") -> float:
    """Mean of size less drawn size over the places of one kind."""
    places = [
        p for p in printed.drawn.places() if p.direction == directions and faces in ("", p.faces)
    ]
    return float(np.mean([printed.distance_mm(p) - p.nominal_mm for p in places]))


@pytest.fixture(scope="module")
def span(card) -> str:
    return card(SPAN)


def test_a_machine_without_errors_prints_the_drawing(made, span):
    piece = made(SPAN, span)
    for place in SPAN.places():
        assert piece.distance_mm(place) == pytest.approx(place.nominal_mm, abs=LEFT_MM)


def test_a_file_that_was_scaled_prints_a_larger_piece(made, span):
    middle = 110.0
    larger = alter(
        span,
        lambda w: {k: middle + (v - middle) * 1.004 if k == "X" else v for k, v in w.items()},
    )
    gained = off_mm(made(SPAN, larger)) - off_mm(made(SPAN, span))
    # The posts' centres go apart by 0.4 % and their walls too; the beads stay as wide.
    assert gained == pytest.approx(0.004 * (60 + 12 - 0.45), abs=0.01)
    assert off_mm(made(SPAN, larger), "Y") == pytest.approx(off_mm(made(SPAN, span), "Y"), abs=0.01)


def _on_right_wall(words: dict[str, float]) -> bool:
    """Whether a move ends on the outermost walls of the right posts, half a bead inside."""
    right = 110 - centre_mm(SPAN, "square")[0] + SPAN.pitch_mm / 2 + SPAN.post_mm / 2 - 0.45 / 2
    return abs(words.get("X", 0.0) - right) < 0.002


def test_a_wall_that_was_shifted_is_read_where_it_lies(made, span):
    shifted = alter(span, lambda w: {**w, "X": w["X"] + 0.2} if _on_right_wall(w) else w)
    for faces, gained in (("outside", 0.2), ("inside", 0.0)):
        before = off_mm(made(SPAN, span), faces=faces)
        assert off_mm(made(SPAN, shifted), faces=faces) - before == pytest.approx(gained, abs=0.01)


def test_a_wall_that_is_missing_leaves_the_next_one_to_the_jaws(made, span):
    hollow = alter(
        span, lambda w: {k: v for k, v in w.items() if k != "E"} if _on_right_wall(w) else w
    )
    lost = off_mm(made(SPAN, span)) - off_mm(made(SPAN, hollow))
    assert lost == pytest.approx(0.407, abs=0.05)  # one spacing of beads


def test_too_little_filament_makes_thin_walls(made, span):
    thin = alter(span, lambda w: {k: 0.9 * v if k == "E" else v for k, v in w.items()})
    for faces, sign in (("outside", 1), ("inside", -1)):
        lost = off_mm(made(SPAN, span), faces=faces) - off_mm(made(SPAN, thin), faces=faces)
        assert sign * lost == pytest.approx(0.1 * 0.407, abs=0.01)


def test_a_post_that_stands_elsewhere_is_not_found(made, span):
    def move(w: dict[str, float]) -> dict[str, float]:
        x, y = (110 - c for c in centre_mm(SPAN, "square"))
        if abs(w.get("X", 0) - x - 30) < 6.1 and abs(w.get("Y", 0) - y - 30) < 6.1:
            return {**w, "X": w["X"] - 15}
        return w

    piece = made(SPAN, alter(span, move))
    with pytest.raises(CannotError, match="not laid"):
        off_mm(piece, "XY+")
    assert off_mm(piece, "XY-") == pytest.approx(0, abs=LEFT_MM)


def test_layers_that_are_missing_shorten_the_column(made, span):
    cut = span[: span.index("G0 Z19.000")]
    piece = made(SPAN, cut)
    heights = {p.nominal_mm: piece.distance_mm(p) for p in SPAN.places() if p.direction == "Z"}
    assert heights[12.0] == pytest.approx(12, abs=1e-6)
    assert heights[20.0] == pytest.approx(18.8, abs=1e-6)


def test_what_was_never_laid_cannot_be_measured(made, span):
    for piece, text in ((SPAN, "G28\nM84"), (BEAD, "G28"), (FIT, "G28")):
        with pytest.raises(CannotError, match="not laid"):
            printed = made(piece, text)
            if piece is SPAN:
                off_mm(printed)
            elif piece is BEAD:
                printed.thickness_mm(BEAD.places()[0])
            else:
                printed.size_mm("bore", FIT.bores[0])


def test_relative_feed_lays_the_same_piece(made, span):
    at, lines = 0.0, []
    for line in span.replace("M82", "M83").splitlines():
        match = re.search(r"E(-?[\d.]+)", line)
        there = float(match[1]) if match else at
        if match and not line.startswith("G92"):
            lines.append(line.replace(match[0], f"E{there - at:.6f}"))
        else:
            lines.append(line)
        at = there
    assert off_mm(made(SPAN, "\n".join(lines))) == pytest.approx(off_mm(made(SPAN, span)), abs=1e-3)


def test_slack_makes_posts_smaller_and_leaves_their_distance(made, span):
    slack = {"X": 0.08, "Y": 0.0}
    outside = off_mm(made(SPAN, span, reversal_mm=slack)) - off_mm(made(SPAN, span))
    inside = off_mm(made(SPAN, span, reversal_mm=slack), faces="inside") - off_mm(
        made(SPAN, span), faces="inside"
    )
    assert outside == pytest.approx(-0.08, abs=0.005)
    assert inside == pytest.approx(0.08, abs=0.005)


def test_steps_and_shear_show_as_the_models_say(made, span):
    motion = MotionErrors({"X": 0.004, "Y": -0.002, "Z": 0.003, "E": 0.0}, 0.003, 1.0)
    piece, right = made(SPAN, span, motion), made(SPAN, span)
    centres = (off_mm(piece) + off_mm(piece, faces="inside")) / 2
    assert centres - (off_mm(right) + off_mm(right, faces="inside")) / 2 == pytest.approx(
        0.004 * 60, abs=0.003
    )
    leaning = [(off_mm(piece, d) + off_mm(piece, d, "inside")) / 2 for d in ("XY+", "XY-")]
    assert leaning[0] - leaning[1] == pytest.approx(0.003 * 60 * math.sqrt(2), abs=0.004)
    top = next(p for p in SPAN.places() if p.nominal_mm == 20.0)
    assert piece.distance_mm(top) == pytest.approx(20 * 1.003, abs=1e-6)


def test_a_curved_map_of_a_drive_bends_the_piece(made, span):
    """A bow of 0.1 mm over the bed along X, as a delta with wrong arms has it."""
    bowed = replace(STILL, reached=lambda at: (at[0] + 0.1 * ((at[1] - 110) / 110) ** 2, *at[1:]))
    straight, piece = made(SPAN, span), made(SPAN, span, bowed)
    assert off_mm(piece, "Y") == pytest.approx(off_mm(straight, "Y"), abs=2e-3)
    assert off_mm(piece) == pytest.approx(off_mm(straight), abs=2e-3)  # both ends alike


def test_a_ring_is_as_thick_as_its_bead_and_the_filament_that_came(made, card):
    text = card(BEAD)
    for width in BEAD.widths_mm:
        seen = [made(BEAD, text).thickness_mm(p) for p in made(BEAD, text).places(width)]
        assert np.mean(seen) == pytest.approx(width, abs=LEFT_MM)
    more = alter(text, lambda w: {k: 1.1 * v if k == "E" else v for k, v in w.items()})
    width = BEAD.widths_mm[0]
    gained = [
        made(BEAD, more).thickness_mm(p) - made(BEAD, text).thickness_mm(p)
        for p in made(BEAD, text).places(width)
    ]
    assert np.mean(gained) == pytest.approx(0.1 * (width - 0.2 * (1 - math.pi / 4)), abs=0.005)
    grams = made(BEAD, more).volume_mm3() / made(BEAD, text).volume_mm3()
    assert grams == pytest.approx(1.1, abs=0.003)


def test_a_gear_that_slips_makes_a_thin_ring(made, card):
    text = card(BEAD)
    slips = made(BEAD, text, slip_onset_mm_min=40.0, slip_steepness=0.5)
    first = BEAD.places()[0]
    assert slips.thickness_mm(first) < made(BEAD, text).thickness_mm(first) - 0.1


def test_bores_and_pins_come_out_as_drawn_and_swapped_ones_do_not(made, card):
    text = card(FIT)
    right = made(FIT, text)
    for kind, sizes in (("bore", FIT.bores), ("pin", FIT.pins)):
        for size in sizes:
            assert right.size_mm(kind, size) == pytest.approx(size, abs=0.06)
    small, large = FIT.bores[0], FIT.bores[-1]
    (x0, _), (x1, _) = FIT.centres_mm()[0], FIT.centres_mm()[len(FIT.bores) - 1]
    assert FIT.centres_mm()[0][1] == FIT.centres_mm()[len(FIT.bores) - 1][1]
    wide = (x1 - x0) / (len(FIT.bores) - 1)

    def swap(w: dict[str, float]) -> dict[str, float]:
        for here, there in ((x0, x1), (x1, x0)):
            if "X" in w and abs(w["X"] - 110 - here) < wide / 2 and w["Y"] < 110:
                return {**w, "X": w["X"] - here + there}
        return w

    swapped = made(FIT, alter(text, swap))
    assert swapped.size_mm("bore", small) == pytest.approx(right.size_mm("bore", large), abs=0.02)
    assert swapped.size_mm("bore", large) == pytest.approx(right.size_mm("bore", small), abs=0.02)


@pytest.mark.parametrize(
    ("spoil", "refused"),
    [
        (lambda t: t.replace("M104 S205\nM109 S205\n", ""), "cold extrusion"),
        (lambda t: t.replace("S205", "S400"), "target held to 275"),
        (lambda t: t.replace("G28\n", ""), "not homed"),
        (lambda t: t.replace("X80.000", "X280.000"), "outside the travel"),
        (lambda t: t + "G77 X3\n", "Unknown command"),
    ],
)
def test_the_card_refuses_what_the_line_refuses(executed, card, spoil, refused):
    spoilt = spoil(card(BEAD))
    assert spoilt != card(BEAD)
    _, told, _ = executed(spoilt)
    assert any(refused in line for line in told.refused), told.refused


def test_a_good_file_is_not_refused_and_leaves_the_heaters_off(executed, span):
    _, told, heaters = executed(span)
    assert told.refused == () and heaters["on"] is False
    assert told.lines == sum(not line.startswith(";") for line in span.splitlines())


def test_a_file_that_leaves_the_heaters_on_does(executed, card):
    _, _, heaters = executed(card(BEAD).replace("M104 S0\nM140 S0\n", ""))
    assert heaters["on"] is True and heaters["nozzle_target_c"] == 205


def test_a_print_takes_the_time_that_its_moves_take(executed, card):
    """Distance over speed of every move, added up anew from the file, ramps not counted."""
    seconds, at, rate, e = 0.0, (0.0, 0.0, 0.0), 1.0, 0.0
    for line in card(BEAD).splitlines():
        words = {w[0]: float(w[1:]) for w in line.split()[1:] if line.startswith("G")}
        if line.startswith("G92"):
            e = words["E"]
        if not line.startswith(("G0", "G1")):
            continue
        rate = words.get("F", rate)
        there = tuple(words.get(a, old) for a, old in zip("XYZ", at, strict=True))
        way = math.dist(at, there) or abs(words.get("E", e) - e)
        seconds += way / rate * 60
        at, e = there, words.get("E", e)
    moves, told, _ = executed(card(BEAD))
    assert moves.seconds.sum() == pytest.approx(seconds, rel=0.03)  # Z has a highest rate
    assert told.seconds > moves.seconds.sum() + 100  # homing and warming up


def test_an_emergency_stop_on_the_line_ends_a_print_from_the_card(bench, span):
    failed: list[str] = []

    def print_it() -> None:
        with pytest.raises(RefusedError) as caught:
            bench.do("print", piece="span", parameters=SPAN.to_dict(), text=span * 6)
        failed.append(caught.value.message)

    printing = threading.Thread(target=print_it)
    printing.start()
    while not any("printing byte" in line for line in bench.ask("M27")):
        time.sleep(0.02)
    bench.wire.send(b"M112\n")
    printing.join(30)
    assert re.search(r"stopped at line \d+ of \d+", failed[0])
    heaters = bench.do("peek_heaters")
    assert heaters["halted"] and not heaters["on"] and not heaters["printing"]
    with pytest.raises(RefusedError, match="nothing has been printed"):
        bench.do("measure", direction="X", faces="outside", nominal_mm=72)


def test_fit_and_ring_are_tried_by_hand(bench, card):
    for name, piece in (("bead", BEAD), ("fit", FIT)):
        bench.do("print", piece=name, parameters=piece.to_dict(), text=card(piece))
        if name == "bead":
            seen = [float(bench.do("measure_bead", drawn_width_mm=0.65)["text"]) for _ in range(4)]
            assert 0.4 < np.mean(seen) < 1.2 and len(set(seen)) > 1
            assert 1.5 < float(bench.do("weigh")["text"]) < 3.5
    order = ["refuses", "turns", "loose"]
    for kind, easier in (("bore", 1), ("pin", -1)):
        felt = [
            order.index(
                bench.do("try_fit", drawn_mm=s, kind=kind, gauge_mm=8 + easier * way)["outcome"]
            )
            for s in [(FIT.bores if kind == "bore" else FIT.pins)[0]]
            for way in (2.0, -2.0)
        ]
        assert felt == [0, 2]
    with pytest.raises(RefusedError, match="no bead piece"):
        bench.do("measure_bead", drawn_width_mm=0.65)
