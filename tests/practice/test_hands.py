"""The control channel: a child process, its first line, and what hands may ask."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from asleft.cli.practice_card import card_text
from asleft.errors import BugError, RefusedError
from asleft.pieces import SpanPiece
from asleft.practice import Hands
from asleft.practice.words.kinds import KINDS

PIECE = SpanPiece(column_heights_mm=(12.0, 20.0))
ON_CARD = {
    "piece": "span",
    "parameters": PIECE.to_dict(),
    "text": card_text("span", PIECE.to_dict(), KINDS["cartesian"].owner_knows()),
}


def read_all(hands: Hands) -> list[str]:
    return [
        hands.ask(
            "measure", direction=p.direction, faces=p.faces, nominal_mm=p.nominal_mm, label=p.label
        )["text"]
        for p in PIECE.places()
    ]


def test_the_first_line_tells_what_the_owner_knows_and_no_more(bench):
    hello = bench.hands.hello
    assert hello["address"].startswith("socket://127.0.0.1:") and hello["seed"] == 1
    assert hello["machine"]["travel_mm"] == [220.0, 220.0, 220.0]
    assert set(hello["instrument"]) == {"resolution_mm", "mpe_mm", "reach_mm"}
    assert bench.do("instrument") == hello["instrument"]
    assert not {"hidden", "truth", "step_error"} & set(json.dumps(hello).split('"'))


def test_a_seed_repeats_everything_and_another_differs():
    def whole(seed: int) -> tuple[list[str], dict[str, object]]:
        with Hands(seed, speed=1000) as hands:
            hands.ask("print", **ON_CARD)
            return read_all(hands), hands.ask("reveal")

    assert whole(7) == whole(7)
    assert whole(7)[0] != whole(8)[0]


def test_a_print_takes_own_time_and_leaves_the_machine_cold_and_unhomed(bench):
    bench.ask("G28")
    told = bench.do("print", **ON_CARD)
    assert 30 < told["minutes"] < 240
    heaters = bench.do("peek_heaters")
    assert heaters["on"] is False and heaters["nozzle_c"] < 30
    assert bench.ask("G1 X5")[0].startswith("Error:not homed")


def test_a_piece_is_fixed_once_printed_and_the_next_has_what_is_in_force(bench):
    bench.do("faults", misread_share=0)

    def mean_x() -> float:
        texts = read_all(bench.hands)
        values = [
            float(t) for t, p in zip(texts, PIECE.places(), strict=True) if p.direction == "X"
        ]
        return sum(values) / len(values)

    bench.do("print", **ON_CARD)
    first = mean_x()
    bench.ask("M92 X84")  # 5 % more steps: 4.75 mm on 95
    assert mean_x() == pytest.approx(first, abs=0.03)
    bench.do("print", **ON_CARD)
    assert mean_x() - first == pytest.approx(95 * 0.05, abs=0.06)


def test_corrected_steps_and_skew_leave_nothing(bench):
    """The formulas of the trade, written anew: steps / (1 + S), factor times ratio plus shear."""
    bench.ask("M852 I0.0015")
    found = bench.do("reveal")["residual"]
    s = bench.do("reveal")["truth"]["step_error"]
    factor = 0.0015 * (1 + s["X"]) / (1 + s["Y"]) + found["shear_xy"]
    bench.ask(
        f"M92 X{80 / (1 + found['X']):.6f} Y{80 / (1 + found['Y']):.6f} "
        f"Z{400 / (1 + found['Z']):.6f} E{93 / (1 + found['E']):.6f}"
    )
    bench.ask(f"M852 I{factor:.8f}")
    left = bench.do("reveal")["residual"]
    assert all(abs(left[axis]) < 1e-6 for axis in "XYZE")
    assert abs(left["shear_xy"]) < 1e-4  # shrinkage differs a little between X and Y
    assert bench.do("reveal")["hidden"]["E"] == found["E"]


def test_what_hands_cannot_do_is_refused_with_words(bench):
    refusals = {
        "measure": {"direction": "X", "faces": "outside", "nominal_mm": 107, "label": "1"},
        "measure_remaining": {},
        "juggle": {},
        "mark": {"marked_mm": 500},
        "print": {"piece": "span", "parameters": PIECE.to_dict()},
    }
    for do, arguments in refusals.items():
        with pytest.raises(RefusedError):
            bench.do(do, **arguments)
    with pytest.raises(RefusedError, match="unexpected keyword"):
        bench.do("mark", length=3)
    bench.do("print", **ON_CARD)
    with pytest.raises(RefusedError, match="no such place"):
        bench.do("measure", direction="X", faces="outside", nominal_mm=55)
    bench.do("reveal")
    with pytest.raises(RefusedError, match="truth is out"):
        bench.do("measure", direction="X", faces="outside", nominal_mm=107, label="1")


def test_the_end_of_input_ends_the_process_and_nonsense_does_not():
    child = subprocess.run(
        [sys.executable, "-m", "asleft.practice", "--seed", "1"],
        input='hello\n[1]\n{"id": 5, "do": "instrument"}\n',
        capture_output=True,
        text=True,
        timeout=20,
        check=True,
    )
    first, *replies = map(json.loads, child.stdout.splitlines())
    assert first["kind"] == "cartesian"
    assert [r["ok"] for r in replies] == [False, False, True] and replies[2]["id"] == 5
    assert child.stderr == ""


def test_a_machine_that_cannot_start_is_an_error():
    with pytest.raises(BugError, match="status 2"):
        Hands(1, kind="hovering")
