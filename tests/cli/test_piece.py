"""The piece's files are written where told, never over others, with their numbers told."""

from __future__ import annotations

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
