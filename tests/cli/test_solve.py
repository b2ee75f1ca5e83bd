"""Readings files in, findings out: the real solvers, as a person and as a program see them."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

FEED_15_LEFT = "marked_mm,remaining_mm,commanded_mm\n" + "".join(
    f"120,{left},100\n" for left in (15.1, 14.9, 15.0, 15.05)
)
FEED_RIGHT = FEED_15_LEFT.replace(",15.", ",20.").replace(",14.", ",19.")


def span_table(scale_x: float = 0.003, growth_mm: float = 0.1, shear: float = 0.0) -> str:
    """A clean piece of pitch 95, written from the model: λ·L ± growth."""
    rows = ["direction,faces,nominal_mm,reading_mm,place"]
    scale = {"X": scale_x, "Y": 0.0, "XY+": scale_x / 2 + shear / 2, "XY-": scale_x / 2 - shear / 2}
    wobble = (0.01, -0.01, 0.005, -0.005)
    place = 0
    for direction, by in scale.items():
        centres = 95 * (math.sqrt(2) if direction.startswith("XY") else 1)
        for faces, sign in (("outside", 1), ("inside", -1)):
            nominal = round(centres + sign * 12, 3)
            for off in wobble:
                place += 1
                reading = nominal * (1 + by) + sign * growth_mm + off
                rows.append(f"{direction},{faces},{nominal},{reading:.2f},{place}")
    return "\n".join(rows) + "\n"


@pytest.fixture
def feed_file(tmp_path: Path) -> str:
    (tmp_path / "feed.csv").write_text(FEED_15_LEFT)
    return "feed.csv"


def test_15_left_of_120_after_100_fed_105(cli, feed_file):
    """Common practice, no source: new = old × target / fed."""
    ran = cli("solve", "feed", feed_file, "--steps", "E=93", "--json")
    assert ran.status == 0, ran.err
    assert ran.json["schema"] == "asleft.solve/1"
    (result,) = ran.json["results"]
    assert (result["trial"], result["file"]) == ("feed", "feed.csv")
    (ratio,) = [q for q in result["quantities"] if q["name"] == "fed_ratio"]
    assert ratio["value"] == pytest.approx(1.05, abs=0.001)
    (proposal,) = result["proposals"]
    assert proposal["verdict"] == "adjust"
    assert proposal["proposed"] == pytest.approx(93 / 1.04987, abs=0.01)


def test_people_get_units_verdict_and_a_line_to_copy(cli, feed_file):
    ran = cli("solve", "feed", feed_file, "--steps", "E=93")
    assert "adjust it" in ran.out and "steps/mm" in ran.out
    (line,) = [text for text in ran.out.splitlines() if text.strip().startswith("M92")]
    assert float(line.split("E")[1]) == pytest.approx(88.58, abs=0.05)
    assert max(map(len, ran.out.splitlines())) <= 80


def test_a_right_extruder_is_left_alone(cli, tmp_path):
    (tmp_path / "feed.csv").write_text(FEED_RIGHT)
    ran = cli("solve", "feed", "feed.csv", "--steps", "E=93")
    assert ran.status == 0 and "leave it as it is" in ran.out and "M92" not in ran.out


def test_standard_input_and_decimal_commas(cli):
    table = FEED_15_LEFT.replace(",", ";").replace(".", ",")
    ran = cli("solve", "feed", "-", "--steps", "E=93,0", "--json", stdin=table)
    assert ran.status == 0, ran.err
    assert ran.json["results"][0]["file"] == "standard input"
    assert cli("solve", "feed", "-", "-", stdin=table).status == 2


def test_second_tool(cli, feed_file):
    ran = cli("solve", "feed", feed_file, "--steps", "E0=90,E1=93", "--axis", "e1")
    assert any(line.strip().startswith("M92 T1 E88.5") for line in ran.out.splitlines()), ran.out
    assert cli("solve", "feed", feed_file, "--axis", "X").status == 2


def test_hardware_first_is_status_1(cli, tmp_path):
    slipping = (
        "marked_mm,remaining_mm,commanded_mm\n120,20,100\n120,28,100\n120,36,100\n120,44,100\n"
    )
    (tmp_path / "slip.csv").write_text(slipping)
    ran = cli("solve", "feed", "slip.csv", "--steps", "E=93", "--json")
    assert ran.status == 1
    assert ran.json["results"][0]["proposals"][0]["verdict"] == "inspect"


def test_many_files_each_with_its_result_and_progress_apart(cli, tmp_path):
    names = [f"{n}.csv" for n in range(20)]
    for name in names:
        (tmp_path / name).write_text(FEED_15_LEFT)
    ran = cli("solve", "feed", *names, "--steps", "E=93", "--json")
    assert [r["file"] for r in ran.json["results"]] == names
    assert "Solving 20 files: 100%" in ran.err


def test_span_says_scale_growth_and_lines(cli, tmp_path):
    (tmp_path / "span.csv").write_text(span_table(shear=0.004))
    steps = ("--steps", "X=80,Y=80,Z=400", "--skew", "XY=0")
    told = cli("solve", "span", "span.csv", *steps, "--json")
    assert told.status == 0, told.err
    found = {
        (q["name"], q["axis"] or q["plane"]): q["value"]
        for q in told.json["results"][0]["quantities"]
    }
    assert found["printed_scale", "X"] == pytest.approx(0.003, abs=0.0003)
    assert found["shear", "XY"] == pytest.approx(0.004, abs=0.0006)
    plain = cli("solve", "span", "span.csv", *steps)
    lines = [line.strip() for line in plain.out.splitlines()]
    (steps_line,) = [line for line in lines if line.startswith("M92")]
    assert float(steps_line.split("X")[1].split()[0]) == pytest.approx(80 / 1.003, abs=0.03)
    (skew_line,) = [line for line in lines if line.startswith("M852")]
    # γ of 0.004 beside a scale difference: k = (1+s_x)/(1+s_y)·k_in_force + γ, k_in_force 0.
    assert float(skew_line.split("I")[1].split()[0]) == pytest.approx(0.004, abs=0.0006)
    assert max(map(len, plain.out.splitlines())) <= 80


def test_a_stated_shrinkage_has_the_sign_of_the_models(cli, tmp_path):
    (tmp_path / "span.csv").write_text(span_table(scale_x=-0.003))
    ran = cli(
        *("solve", "span", "span.csv", "--steps", "X=80,Y=80", "--json"),
        *("--shrinkage-percent", "0.3", "--shrinkage-u", "0.01"),
    )
    (motion,) = [
        q
        for q in ran.json["results"][0]["quantities"]
        if q["name"] == "motion_scale" and q["axis"] == "X"
    ]
    assert motion["value"] == pytest.approx(0.0, abs=0.0004)


@pytest.mark.parametrize(
    ("text", "where"),
    [
        ("", ""),
        ("marked_mm,remaining_mm\n120,20\n", "commanded_mm"),
        ("marked_mm,remaining_mm,commanded_mm,colour\n120,20,100,red\n", "colour"),
        ("marked_mm,remaining_mm,commanded_mm\n120,abc,100\n", "row"),
        ("marked_mm,remaining_mm,commanded_mm\n120,nan,100\n", "row"),
        ("marked_mm,remaining_mm,commanded_mm\n120,inf,100\n", "row"),
        ("marked_mm,remaining_mm,commanded_mm\n120,-20,100\n", "row"),
        ("marked_mm,remaining_mm,commanded_mm\n120,1e999,100\n", "row"),
        ('marked_mm,remaining_mm,commanded_mm\n120,"1,234.5",100\n', "row"),
        ("marked_mm,remaining_mm,commanded_mm\n120,130,100\n", "row"),
        ("marked_mm,remaining_mm,commanded_mm\n", ""),
        ("direction,faces,nominal_mm,reading_mm\nX,outside,107,107\n", "direction"),
    ],
)
def test_a_wrong_table_names_file_and_place(cli, tmp_path, text, where):
    (tmp_path / "wrong.csv").write_text(text)
    ran = cli("--json", "solve", "feed", "wrong.csv", "--steps", "E=93")
    assert (ran.status, ran.out) == (2, "")
    told = ran.error
    assert told["kind"] == "input" and told["hint"]
    assert "wrong.csv" in told["where"] + told["message"]
    assert where in told["where"] + told["message"]


@pytest.mark.parametrize("content", [b"\xff\xfe\x00m", b"\x00\x01\x02", b"\x89PNG\r\n\x1a\n\xff"])
def test_what_is_no_text_is_refused(cli, tmp_path, content):
    (tmp_path / "picture.csv").write_bytes(content)
    ran = cli("--json", "solve", "feed", "picture.csv")
    assert ran.status == 2 and "picture.csv" in ran.error["where"]


def test_a_folder_is_no_file(cli, tmp_path):
    (tmp_path / "folder.csv").mkdir()
    assert cli("--json", "solve", "feed", "folder.csv").status == 2


def test_tolerance_and_instrument_reach_the_solver(cli, feed_file):
    wide = cli("solve", "feed", feed_file, "--steps", "E=93", "--tolerance", "feed=20%", "--json")
    assert wide.json["results"][0]["proposals"][0]["verdict"] == "leave"
    assert cli("solve", "feed", feed_file, "--tolerance", "feed=nonsense").status == 2
    assert cli("solve", "feed", feed_file, "--instrument", "none").status == 2
    cli("instrument", "describe", "rule", "--mpe", "5", "--resolution", "1")
    coarse = cli("solve", "feed", feed_file, "--steps", "E=93", "--instrument", "rule", "--json")
    fine = cli("solve", "feed", feed_file, "--steps", "E=93", "--json")
    u = [r.json["results"][0]["quantities"][0]["u"] for r in (coarse, fine)]
    assert u[0] > 2 * u[1]
