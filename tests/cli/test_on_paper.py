"""Without any connection: pasted report, typed readings, lines to copy, and a record of it."""

from __future__ import annotations

import json

import pytest

REPORT = """\
echo:; Steps per unit:
echo: M92 X80.00 Y80.00 Z400.00 E93.00
echo:; Maximum feedrates (units/s):
echo:  M203 X300.00 Y300.00 Z5.00 E25.00
echo:  M852 I0.000000 J0.000000 K0.000000
"""
FEED = (
    "marked_mm,remaining_mm,commanded_mm\n120,15.1,100\n120,14.9,100\n120,15,100\n120,15.05,100\n"
)


@pytest.fixture
def pasted(cli, tmp_path):
    (tmp_path / "report.txt").write_text(REPORT)
    (tmp_path / "feed.csv").write_text(FEED)
    ran = cli("found", "--report", "report.txt", "--json")
    assert ran.status == 0, ran.err
    return ran.json


def test_a_pasted_report_is_kept(cli, pasted):
    assert pasted["steps_per_mm"] == {"X": 80, "Y": 80, "Z": 400, "E": 93}
    assert cli("found", "--report", "-", "--json", stdin=REPORT).json["steps_per_mm"]["E"] == 93


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16"])
def test_a_report_as_some_shells_save_it_is_read(cli, tmp_path, encoding):
    (tmp_path / "saved.txt").write_text(REPORT, encoding=encoding)
    assert cli("found", "--report", "saved.txt", "--json").json["steps_per_mm"]["Z"] == 400


def test_typed_values_are_kept(cli):
    ran = cli("found", "--steps", "X=80,Y=80,Z=400,E=93,5", "--json")
    assert ran.json["steps_per_mm"]["E"] == 93.5


@pytest.mark.parametrize("text", ["", "good evening\n", ";M92 X80 Y80 Z400 E93\n"])
def test_a_report_without_steps_is_refused(cli, text):
    ran = cli("found", "--report", "-", "--json", stdin=text)
    assert ran.status == 2 and "standard input" in json.dumps(ran.error)


def test_a_span_trial_without_the_column_has_none_whatever_else_is_left_open(cli, pasted):
    for more in ((), ("--pitch", "80")):
        listed = cli("trial", "span", "--list", "--no-column", *more).out
        assert "posts" in listed and "column" not in listed


def test_typed_steps_that_leave_some_out_say_so(cli, pasted):
    assert not [w for w in pasted["warnings"] if "newest state" in w]
    told = cli("found", "--steps", "X=80.4", "--json").json
    (said,) = [w for w in told["warnings"] if "newest state" in w]
    assert "does not hold Y, Z, E:" in said and "--steps" in said
    told = cli("found", "--steps", "X=80.4,Y=80,Z=400,E0=93", "--json").json
    assert not [w for w in told["warnings"] if "newest state" in w]


def test_lines_not_understood_are_named(cli):
    text = REPORT + "".join(f"echo:  M906 X{n}00 alpha\n" for n in range(1, 6))
    said = " ".join(cli("found", "--report", "-", stdin=text).out.split())
    assert "5 lines are not understood and kept as they stand: " in said
    assert "M906 X300 alpha; and 2 more" in said and "X400" not in said


def test_findings_come_out_as_lines_to_enter_by_hand(cli, pasted, tmp_path):
    tried = cli("trial", "feed", "--detached", "--readings", "feed.csv")
    assert tried.status == 0, tried.err
    assert "adjust it" in tried.out and "steps/mm" in tried.out
    ran = cli("set", "--from-findings", "--json")
    assert ran.status == 0, ran.err
    assert ran.json["handed_over"] is True and ran.json["verified"] is None
    (line,) = ran.json["by_hand"]
    assert line.startswith("M92 E88.5")


def test_the_record_is_written_and_closed(cli, pasted, tmp_path):
    cli("trial", "feed", "--detached", "--readings", "feed.csv")
    for name in ("evening.json", "evening.csv", "evening.pdf"):
        ran = cli("record", "--out", name)
        assert ran.status == 0, ran.err
        assert (tmp_path / name).stat().st_size > 100
    assert json.loads((tmp_path / "evening.json").read_text())["schema"] == "asleft.record/1"
    assert (tmp_path / "evening.pdf").read_bytes().startswith(b"%PDF")
    there = cli("record", "--out", "evening.csv", "--close", "--json")
    assert there.status == 2 and "--force" in there.error["hint"]
    kept = json.loads((tmp_path / "evening.json").read_text())
    assert kept["calibration"]["closed_at"] is None
    assert cli("record", "--out", "evening.csv", "--force").status == 0
    assert cli("record", "--json", "--close").json["schema"] == "asleft.record/1"
    assert cli("record", "99", "--out", "none.json").status == 2


@pytest.mark.parametrize("out", ["nowhere/evening.pdf", "."])
def test_a_record_needs_a_real_place(cli, out):
    assert cli("record", "--out", out, "--json").status == 2


@pytest.mark.parametrize("content", [b"\xee\x00", b'{"schema": "asleft.rec', b"[1]"])
def test_what_is_no_record_is_told_in_plain_words(cli, tmp_path, content):
    (tmp_path / "evening.json").write_bytes(content)
    ran = cli("record", "--check", "evening.json", "--json")
    assert ran.status == 2 and ran.error["message"] == "this is no record, or it was cut short"


def test_nothing_to_do_is_said(cli):
    for arguments in (("record", "--out", "r.json"), ("set", "--from-findings"), ("undo",)):
        ran = cli(*arguments, "--json")
        assert ran.status == 2, ran.err
        assert ran.error["hint"]


def test_the_list_of_steps_needs_no_machine(cli):
    ran = cli("trial", "feed", "--list", "--temperature", "205")
    assert ran.status == 0 and "M104" in ran.out
    assert max(map(len, ran.out.splitlines())) <= 80
    told = cli("trial", "span", "--list", "--json").json
    assert told["schema"] == "asleft.trial/1" and len(told["steps"]) > 20
