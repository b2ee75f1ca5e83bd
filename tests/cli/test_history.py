"""`asleft history` as a program: words, CSV and JSON of one machine; several ask for a name."""

from __future__ import annotations

import csv
import io

FEED = "marked_mm,remaining_mm,commanded_mm\n120,25.1,100\n120,24.9,100\n120,25.0,100\n"


def test_years_of_one_machine_and_of_two(cli, tmp_path) -> None:
    (tmp_path / "feed.csv").write_text(FEED, encoding="utf-8")
    assert cli("history").status == 2
    assert cli("machine", "describe", "regulator").status == 0
    assert cli("found", "--steps", "X=80,Y=80,Z=400,E=93").status == 0
    feed = cli("trial", "feed", "--readings", str(tmp_path / "feed.csv"), "--temperature", "205")
    assert feed.status == 0, feed.err
    words = cli("history")
    assert words.status == 0 and "fed ratio E" in words.out and "not known" in words.out
    (row,) = csv.DictReader(io.StringIO(cli("history", "--csv").out))
    (series,) = cli("history", "--json").json["series"]
    assert float(row["found"]) == series["points"][0]["found"]
    assert row["machine"] == "regulator" and row["low"] == ""
    assert cli("machine", "describe", "orrery").status == 0
    assert "--machine" in cli("history").out
    refused = cli("history", "--csv", "--json")
    assert refused.json["machine"] is None
    assert cli("history", "--csv").status == 2
    assert cli("history", "--machine", "sundial").status == 2
