"""In force and in storage: two things, told apart by a power cycle on a real socket."""

from __future__ import annotations

import re

import numpy as np
import pytest


def steps(bench) -> dict[str, str]:
    (line,) = [x for x in bench.ask("M503") if re.match(r"echo:\s+M92 ", x)]
    return {word[0]: word[1:] for word in line.split()[2:]}


def banner(bench) -> list[str]:
    return [bench.wire.line() for _ in range(3)]


def test_what_is_not_stored_is_gone_after_a_power_cycle(bench):
    bench.ask("M92 X81.5 E100")
    assert steps(bench) == {"X": "81.50", "Y": "80.00", "Z": "400.00", "E": "100.00"}
    bench.do("power_cycle")
    told = banner(bench)
    assert told[0] == "start" and re.search(r"in force \(\d+ bytes; crc \d+\)", told[2])
    assert steps(bench)["X"] == "80.00"


def test_what_is_stored_survives_and_m501_discards_the_rest(bench):
    bench.ask("M92 X81.5")
    stored = bench.ask("M500")
    assert re.fullmatch(r"echo:Values stored \(\d+ bytes; crc \d+\)", stored[0])
    bench.ask("M92 X99")
    bench.ask("M501")
    assert steps(bench)["X"] == "81.50"
    bench.ask("M502")
    assert steps(bench)["X"] == "80.00"
    bench.do("power_cycle")
    assert banner(bench)[0] == "start"
    assert steps(bench)["X"] == "81.50"


def test_a_board_whose_storage_keeps_nothing_says_stored_all_the_same(bench):
    bench.do("faults", lose_storage=True)
    bench.ask("M92 X81.5")
    assert "stored" in bench.ask("M500")[0]
    bench.do("power_cycle")
    banner(bench)
    assert steps(bench)["X"] == "80.00"


def test_a_power_cycle_takes_homing_count_and_heat_targets(bench, numbered):
    bench.ask(numbered(1, "G28"))
    bench.ask("M104 S200")
    bench.do("power_cycle")
    banner(bench)
    assert bench.ask(numbered(1, "M27"))[0] == "Card: not printing"  # the count begins anew
    assert bench.ask("G1 X1")[0].startswith("Error:not homed")
    assert bench.do("peek_heaters")["on"] is False


def test_values_are_single_precision_floats_and_shown_rounded(bench):
    bench.ask("M92 E93.456789")
    assert steps(bench)["E"] == "93.46"
    hidden, residual = (bench.do("reveal")[k]["E"] for k in ("hidden", "residual"))
    told = 93 * (1 + residual) / (1 + hidden)
    assert told == pytest.approx(float(np.float32(93.456789)), rel=1e-12)


def test_impossible_settings_are_refused_and_every_report_line_goes_back_in(bench):
    for bad in ("M92 X0", "M92 X-80", "M92 X", "M92 T1 E90", "M92 X" + "9" * 40):
        assert bench.ask(bad)[0].startswith("Error:"), bad
    assert bench.ask("M92 Q5")[0] == "echo:M92 has no Q"
    report = bench.ask("M503")
    for line in report:
        command = line.removeprefix("echo:").strip()
        if re.match(r"[GM]\d", command):
            assert bench.ask(command) == ["ok"], command
    assert bench.ask("M503") == report


def test_the_wire_does_not_tell_the_truth(start):
    """Two machines with different hidden errors answer every question alike."""

    def everything(seed: int) -> list[str]:
        bench = start(seed)
        questions = ("M503", "M92", "M852", "M114", "M105", "M220", "M221", "M302", "M27", "M115")
        answers = [line for q in questions for line in bench.ask(q)]
        hidden = bench.do("reveal")
        truths.append(hidden["hidden"]["X"])
        assert hidden["truth"]["skew_found"] == 0
        return [re.sub("UUID:.*", "", line) for line in answers]

    truths: list[float] = []
    assert everything(1) == everything(3)
    assert abs(truths[0] - truths[1]) > 1e-4
