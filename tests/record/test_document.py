"""The record as data: what the store kept is in it, whole, and said as it was."""

from __future__ import annotations

import csv
import hashlib
import io
import json
from pathlib import Path
from typing import Any

import pytest

from asleft.errors import InputError
from asleft.record import Store, assemble, write_record
from asleft.record.digests import digest

NOW = {"asleft": "0.2.0"}


@pytest.fixture
def document(calibrated: tuple[Store, int]) -> dict[str, Any]:
    store, calibration = calibrated
    return assemble(store, calibration, versions=NOW)


def test_it_is_json_as_it_stands(document: dict[str, Any]) -> None:
    assert document["schema"] == "asleft.record/1"
    assert json.loads(json.dumps(document, allow_nan=False)) == document


def test_as_found_and_as_left_carry_the_raw_report(document: dict[str, Any]) -> None:
    found, left = document["as_found"], document["as_left"]
    assert "M92 X80.00" in found["raw"]
    assert "; case clamps loosened" in left["raw"]
    assert left["parsed"]["steps_per_mm"]["E"] == 97.89
    assert document["as_left_reason"] is None
    assert [each["kept"] for each in document["kept_states"]] == [found["kept"], left["kept"]]


def test_readings_say_whether_they_were_used_and_why_not(document: dict[str, Any]) -> None:
    feed, span, _ = document["trials"]
    assert [each["used"] for each in feed["readings"]] == [False, True, True, True, True]
    assert feed["readings"][0]["why_not"] == "the mark was read from the wrong side"
    assert feed["readings"][2]["raw"] == "24,96"
    # The solver counts the readings it was given: row 6 is place 6.
    unused = [each for each in span["readings"] if not each["used"]]
    assert [each["place"]["place"] for each in unused] == ["6"]
    assert "misread" in unused[0]["why_not"]


def test_rows_set_aside_are_counted_without_those_taken_back(store: Store) -> None:
    machine = store.add_machine({"name": "lantern-clock printer"})
    calibration = store.open_calibration(machine, versions={}, person=None, conditions={})
    trial = store.start_trial(
        calibration, "span", parameters={}, steps=[], kept_id=None, instrument={}, making={}
    )
    keys = ("a", "b", "c")
    ids = [store.add_reading(trial, key=k, place={}, value=1, raw="1", unit="mm") for k in keys]
    store.void_reading(ids[0], "slipped")
    aside = [{"row": 2, "reading_mm": 1.0, "why": "a misread tenth"}]
    store.end_trial(trial, "done", None, {"set_aside": aside})
    readings = assemble(store, calibration, versions={})["trials"][0]["readings"]
    assert [each["why_not"] for each in readings] == ["slipped", None, "a misread tenth"]


def test_the_proof_stands_beside_its_prediction(document: dict[str, Any]) -> None:
    proof = document["proof"]
    assert (proof["chi2"], proof["dof"], proof["p"]) == (12.74, 7, 0.079)
    assert proof["power_cycle"]["survived"] is True
    outside = [face["label"] for face in proof["faces"] if face["inside"] is False]
    assert outside == ["5"]
    assert proof["predicted_at"] < document["trials"][2]["readings"][0]["at"]


def test_changes_carry_what_was_read_back(document: dict[str, Any]) -> None:
    (change,) = document["changes"]
    assert [mark["state"] for mark in change["marks"]] == [
        "sent",
        "read_back",
        "stored",
        "power_cycled",
    ]
    assert change["marks"][1]["details"]["values"]["X"] == 80.17
    stands = {f"{each['axis']}": each["stands"] for each in document["proposals"]}
    assert stands == {"E": False, "X": False, "XY": False, "Z": True}


def test_the_digest_can_be_made_again_and_feels_every_change(document: dict[str, Any]) -> None:
    names = ("key", "take", "place", "value", "raw", "unit", "at", "taken_back")
    rows = [
        [t["id"], *(r[name] for name in names)] for t in document["trials"] for r in t["readings"]
    ]
    text = json.dumps(rows, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert document["readings_sha256"] == hashlib.sha256(text.encode()).hexdigest()
    document["trials"][1]["readings"][3]["raw"] += " "
    assert digest(document["trials"]) != document["readings_sha256"]


def test_cautions_have_their_reason(document: dict[str, Any]) -> None:
    said = " ".join(document["cautions"])
    assert "Each place was read once" in said
    assert "not stored" not in said
    assert "licensed electrician" in said


def test_what_was_not_shown_is_said(tmp_path: Path) -> None:
    with Store.open(tmp_path) as store:
        machine = store.add_machine({"name": "tower-clock printer"})
        calibration = store.open_calibration(machine, versions={}, person=None, conditions={})
        kept = store.keep(
            machine,
            raw="ok",
            parsed={},
            reason="as found",
            standing="in_force",
            calibration_id=calibration,
        )
        change = store.start_change(
            calibration, settings=[{"setting": "X"}], kind="set", kept_before=kept
        )
        store.mark_change(change, "sent", {"lines": ["M92 X80.1"]})
        store.mark_change(change, "read_back", {"verified": True})
        document = assemble(store, calibration, versions={})
    said = " ".join(document["cautions"])
    assert document["as_left"] is None
    assert "no settings were read after the last change" in said
    assert "not stored: it is lost when power goes off" in said
    assert "No second piece has proved the change." in said
    assert "power cycle" in said
    assert document["proof"]["reason"] == "no second piece was foretold"


def test_an_empty_calibration_has_a_record_too(store: Store, tmp_path: Path) -> None:
    machine = store.add_machine({"name": "pocket-watch printer"})
    calibration = store.open_calibration(machine, versions={}, person=None, conditions={})
    document = assemble(store, calibration, versions={})
    assert document["as_found"] is None
    assert document["as_left_reason"] == "no settings were kept in this calibration"
    for suffix in ("pdf", "json", "csv"):
        assert write_record(document, tmp_path / f"r.{suffix}").stat().st_size > 0


def test_a_calibration_that_is_not_there(store: Store) -> None:
    with pytest.raises(InputError, match="no calibration 7"):
        assemble(store, 7, versions={})


def test_json_and_csv_files(document: dict[str, Any], tmp_path: Path) -> None:
    written = write_record(document, tmp_path / "new" / "record.json")
    assert json.loads(written.read_text(encoding="utf-8")) == document
    text = write_record(document, tmp_path / "record.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert len(rows) == 5 + 7 + 7
    assert [float(row["value"]) for row in rows[:2]] == [35.02, 25.02]
    assert rows[0]["why_not"] == "the mark was read from the wrong side"
    assert json.loads(rows[5]["what"])["nominal_mm"] == 107.0


@pytest.mark.parametrize("name", ["record", "record.doc"])
def test_other_endings_are_refused(document: dict[str, Any], tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError, match="cannot be written as"):
        write_record(document, tmp_path / name)
    assert list(tmp_path.glob("record*")) == []


def test_a_file_that_cannot_be_written(document: dict[str, Any], tmp_path: Path) -> None:
    (tmp_path / "folder").write_text("")
    with pytest.raises(InputError, match="the record cannot be written"):
        write_record(document, tmp_path / "folder" / "record.csv")
