"""A delta and a machine on paper at the terminal: arms found, lines to copy, the height noted."""

from __future__ import annotations

import pytest

REPORT = """\
M92 X80.00 Y80.00 Z80.00 E93.00
M665 L215.300 R105.400 H241.200 S200.00 X0.000 Y0.000 Z0.000
M666 X-0.120 Y0.000 Z-0.310
"""


def readings(xy: float) -> str:
    """X and Y too large by `xy`, heights right, 0.1 mm of growth, scatter 0.01 mm."""
    rows = ["direction,faces,nominal_mm,reading_mm"]
    for axis in "XY":
        for faces, sign in (("outside", 1), ("inside", -1)):
            size = 95 + 12 * sign
            real = size * (1 + xy) + 0.1 * sign
            rows += [f"{axis},{faces},{size},{real + off:.2f}" for off in (0.01, -0.01, 0.0)]
    for size in (20, 60, 100):
        rows += [f"Z,same,{size},{size + off:.2f}" for off in (0.01, -0.01)]
    return "\n".join(rows) + "\n"


SOLVE = ("solve", "span", "one.csv", "--drive", "delta", "--steps", "X=80,Y=80,Z=80")


def test_arms_come_out_as_a_line_to_copy(cli, tmp_path):
    (tmp_path / "one.csv").write_text(readings(0.006))
    ran = cli(*SOLVE, "--arms", "L=215.3,R=105.4")
    assert ran.status == 0, ran.err
    said = " ".join(ran.out.split())
    assert "Arm length L: adjust it" in said and "set the height" in said
    assert "M665 L217.1" in said and max(map(len, ran.out.splitlines())) <= 80
    without = " ".join(cli(*SOLVE).out.split())
    assert "in force are unknown" in without and "M665" not in without


@pytest.mark.parametrize("arms", ["L=100,R=105", "L=0,R=105", "L=215,Q=1", "L=215"])
def test_impossible_arms(cli, tmp_path, arms):
    (tmp_path / "one.csv").write_text(readings(0.006))
    ran = cli("--json", *SOLVE, "--arms", arms)
    assert (ran.status, bool(ran.err)) == ((0, False) if arms == "L=215" else (2, True))


def test_a_delta_on_paper(cli, tmp_path):
    (tmp_path / "one.csv").write_text(readings(0.006))
    (tmp_path / "report.txt").write_text(REPORT)
    cli("machine", "describe", "drill stand", "--drive", "delta", "--bed-round", "180,200")
    assert cli("found", "--report", "report.txt", "--json").json["delta"]["L"] == 215.3
    assert cli("trial", "span", "--readings", "one.csv").status == 0
    told = cli("set", "--from-findings", "--json").json
    (line,) = told["by_hand"]
    assert line.startswith("M665 L217.") and told["handed_over"]
    assert any("nozzle may hit" in warning for warning in told["warnings"])
    kept = cli("found", "--report", "-", "--json", stdin=REPORT).json["kept"]
    assert cli("event", "height", "--text", "levelled", "--json").json["kind"] == "height"
    same = cli("restore", str(kept), "--all", "--yes", "--json")
    assert same.status == 2 and "nothing differs" in same.error["message"]


def test_typed_steps_come_out_for_lines_and_for_files(cli, tmp_path):
    cli("machine", "describe", "bench", "--turn", "X=3200,E=3200")
    cli("found", "--steps", "X=80,Y=80,Z=400,E=93")
    told = cli("set", "X=79.6", "--json").json
    assert told["by_hand"] == [
        "M92 X79.6",
        "X in steps per mm: 79.6 instead of 80 (times 0.995000)",
        "X in mm per motor turn: 40.201005 instead of 40 (times 1.005025)",
    ]
    assert told["verified"] is None and told["handed_over"] is True
    said = cli("set", "Y=80.4")
    assert said.status == 0 and "what stands there (times 0.995025)" in said.out
    assert max(map(len, said.out.splitlines())) <= 80
