"""The piece's files are written where told, never over others, with their numbers told."""

from __future__ import annotations

import re
from pathlib import Path

import pytest


def test_files_are_written_and_named(cli, tmp_path):
    ran = cli("piece", "span", "--out", "piece", "--bed", "220,220,250", "--reach", "150", "--json")
    assert ran.status == 0, ran.err
    told = ran.json
    assert told["schema"] == "asleft.piece/1"
    assert {"stl", "3mf", "drawing"} <= set(told["files"])
    for name in told["files"].values():
        assert (tmp_path / Path(name)).stat().st_size > 1000
    assert [r["label"] for r in told["readings"]] == [
        str(n) for n in range(1, len(told["readings"]) + 1)
    ]


def test_the_machine_gives_the_bed(cli):
    cli("machine", "describe", "small", "--bed-round", "120,130")
    ran = cli("piece", "span", "--out", "p", "--machine", "small", "--no-column", "--json")
    assert ran.status == 0, ran.err
    assert ran.json["parameters"]["pitch_mm"] <= 66  # a round bed of 120 carries 60 to 66


def test_a_second_time_is_refused_without_force(cli):
    assert cli("piece", "span", "--out", "p").status == 0
    again = cli("piece", "span", "--out", "p", "--json")
    assert (again.status, again.error["kind"]) == (2, "refused")
    assert cli("piece", "span", "--out", "p", "--force").status == 0


@pytest.mark.parametrize(
    "wrong",
    [
        ("--bed", "20,20,20"),
        ("--reach", "30"),
        ("--pitch", "1"),
        ("--layer", "0"),
        ("--machine", "nobody"),
        ("--pitch", "200", "--bed", "220,220,250"),
        ("--layer", "0.16"),
        ("--line-width", "1.2", "--nozzle-temp", "200", "--bed-temp", "60"),
        ("--nozzle-temp", "400", "--bed-temp", "60"),
        ("--nozzle-temp", "20", "--bed-temp", "60"),
        ("--nozzle-temp", "200", "--bed-temp", "150"),
    ],
)
def test_what_cannot_be_made_is_refused(cli, wrong, tmp_path):
    ran = cli("--json", "piece", "span", "--out", "p", *wrong)
    assert ran.status == 2, ran.err
    assert ran.error["hint"]
    assert not (tmp_path / "p").exists()


def test_a_folder_that_is_a_file(cli, tmp_path):
    (tmp_path / "p").write_text("")
    assert cli("--json", "piece", "span", "--out", "p").status == 2


HOT = ("--nozzle-temp", "205", "--bed-temp", "60")


@pytest.mark.parametrize("kind", [("span", "--no-column"), ("bead",), ("fit", "--gauge", "8")])
def test_a_tool_path_is_written_with_the_temperatures_given(cli, tmp_path, kind):
    ran = cli("piece", *kind, "--out", "p", *HOT, "--relative-feed", "--json")
    assert ran.status == 0, ran.err
    told = ran.json
    assert told["reason"] is None and told["path"]["layers"] > 10
    assert told["cost"]["basis"].startswith("computed from the tool path")
    codes = (tmp_path / told["files"]["path"]).read_text()
    assert re.findall(r"^M1[04][049] S([0-9.]+)", codes, re.MULTILINE) == [
        *("60", "205", "205"),
        *("0", "0"),
    ]
    assert "M83" in codes and "M82" not in codes


@pytest.mark.parametrize(
    ("given", "missing"),
    [
        ((), "--nozzle-temp and --bed-temp"),
        (("--bed-temp", "60"), "--nozzle-temp"),
        (("--nozzle-temp", "205"), "--bed-temp"),
    ],
)
def test_without_a_temperature_there_is_no_tool_path_and_it_is_said_why(cli, given, missing):
    ran = cli("piece", "bead", "--out", "p", *given, "--json")
    assert ran.status == 0, ran.err
    assert "path" not in ran.json["files"] and ran.json["path"] is None
    assert ran.json["reason"].startswith(missing)
    shown = cli("piece", "bead", "--out", "q", *given)
    assert missing.split()[0] in shown.out


def test_the_machines_limits_bound_the_tool_path(cli):
    cli("machine", "describe", "small", "--bed", "180,180,180", "--max-nozzle", "200")
    ran = cli("--json", "piece", "bead", "--out", "p", "--machine", "small", *HOT)
    assert (ran.status, "200" in ran.error["hint"]) == (2, True), ran.err


def test_a_tool_path_that_is_there_is_not_replaced(cli, tmp_path):
    (tmp_path / "p").mkdir()
    (tmp_path / "p" / "bead.gcode").write_text("kept")
    assert cli("piece", "bead", "--out", "p", *HOT).status == 2
    assert [f.name for f in (tmp_path / "p").iterdir()] == ["bead.gcode"]
    assert cli("piece", "bead", "--out", "p", *HOT, "--force").status == 0


@pytest.mark.parametrize(
    ("wrong", "would_do"),
    [
        (("fit", "--gauge", "90", "--bed", "120,120,100"), "shaft of"),
        (("fit", "--gauge", "0.5"), "2 mm"),
        (("bead", "--bed", "40,40,100", *HOT), "bed"),
        (("bead", "--layer", "0.15"), "0.16 mm"),
        (("span", "--layer", "0.16"), "mm would do"),
        (("span", "--line-width", "0.95", "--no-column", *HOT), "0.8 mm"),
        (("span", "--pitch", "160", "--bed", "220,220,250"), "pitch of"),
    ],
)
def test_what_cannot_be_made_is_refused_with_the_nearest_that_would_do(cli, wrong, would_do):
    ran = cli("--json", "piece", *wrong, "--out", "p")
    assert ran.status == 2, ran.out
    assert would_do in ran.error["hint"], ran.error


def test_the_wanted_uncertainty_chooses_the_piece_and_the_hint_would_do(cli):
    chosen = cli("--json", "piece", "span", "--out", "p", "--no-column", "--target-u", "0.025")
    assert chosen.json["parameters"]["pitch_mm"] < 95
    refused = cli("--json", "piece", "span", "--out", "q", "--no-column", "--target-u", "0.01")
    assert refused.status == 2, refused.out
    nearest = refused.error["hint"].split(" %")[0]
    assert cli("piece", "span", "--out", "q", "--no-column", "--target-u", nearest).status == 0
