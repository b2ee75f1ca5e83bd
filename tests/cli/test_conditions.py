"""What is said of an evening at the terminal, and that the record's check feels a word of it."""

from __future__ import annotations

import json

STEPS = ("--steps", "X=80,Y=80,Z=400,E=93")
ROWS = "marked_mm,remaining_mm,commanded_mm\n" + "120,21.9,100\n120,22.1,100\n" * 2


def test_said_shown_written_and_felt(cli, tmp_path):
    cli("machine", "describe", "bench")
    assert "no calibration is open" in cli("conditions").out  # asking opens none
    assert "`asleft conditions` takes room" in cli("found", *STEPS).out
    said = cli("conditions", "--room", "23,5", "--room-u", "1", "--spool", "grey")
    assert said.status == 0 and "23.5 °C" in said.out and "Not said" in said.out
    far = cli("conditions", "--room", "74", "--json")
    assert far.status == 2 and far.error["where"].startswith("room temperature")
    shown = cli("conditions", "--json").json
    assert shown["schema"] == "asleft.conditions/1"
    assert shown["conditions"] == {"room_c": 23.5, "room_u_c": 1.0, "spool": "grey"}

    (tmp_path / "feed.csv").write_text(ROWS)
    assert cli("trial", "feed", "--readings", "feed.csv").status == 0
    assert cli("record", "--out", "record.json").status == 0
    record = json.loads((tmp_path / "record.json").read_text(encoding="utf-8"))
    record["conditions"]["spool"] = "red"
    (tmp_path / "altered.json").write_text(json.dumps(record), encoding="utf-8")
    checked = cli("record", "--check", "altered.json")
    assert checked.status == 1 and "not as it was written" in checked.out
    del record["record_sha256"]
    (tmp_path / "old.json").write_text(json.dumps(record), encoding="utf-8")
    checked = cli("record", "--check", "old.json")
    assert checked.status == 0 and "Written before records had a digest" in checked.out
