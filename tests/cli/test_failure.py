"""Whatever goes wrong ends in one shape, with the status of its kind."""

from __future__ import annotations

import json
import os
import subprocess
from pathlib import Path

import pytest

from asleft.cli import failure
from asleft.cli.failure import InputEndedError
from asleft.cli.session import Session
from asleft.errors import LineError, MachineError, Stopped, StoreError


@pytest.mark.parametrize(
    ("arguments", "where"),
    [
        (["nonsense"], None),
        (["solve", "feed"], "FILE..."),
        (["solve", "feed", "x.csv", "--mpe", "-0.03"], "--mpe"),
        (["solve", "feed", "x.csv", "--mpe", "nan"], "--mpe"),
        (["solve", "feed", "x.csv", "--mpe", "0"], "--mpe"),
        (["solve", "feed", "x.csv", "--reach", "1.234,5"], "--reach"),
        (["solve", "feed", "x.csv", "--reach", "1 234"], "--reach"),
        (["solve", "feed", "x.csv", "--steps", "X=0"], "--steps"),
        (["solve", "feed", "x.csv", "--steps", "Q=80"], "--steps"),
        (["solve", "feed", "x.csv", "--steps", "X=80,X=81"], "--steps"),
        (["solve", "feed", "x.csv", "--steps", "X"], "--steps"),
        (["solve", "span", "x.csv", "--shrinkage-percent", "0.3"], "--shrinkage-u"),
        (["solve", "span", "x.csv", "--drive", "belts"], "--drive"),
        (["set"], "set"),
        (["set", "X=80", "--from-findings"], "set"),
        (["set", "X=80", "--port", "socket://127.0.0.1:9"], "--yes"),
        (["undo", "--port", "socket://127.0.0.1:9"], "--yes"),
        (["restore", "1"], "--yes"),
        (["restore", "one"], "KEPT"),
        (["trial", "feed"], "--yes"),
        (["trial", "feed", "--repeats", "0", "--yes"], "--repeats"),
        (["found", "--port", "socket://127.0.0.1:1", "--steps", "X=80"], "found"),
        (["found", "--baud", "fast"], "--baud"),
        (["found", "--report", "missing.txt"], "missing.txt"),
        (["record", "--out", "record.doc"], "--out"),
        (["piece", "span"], "--out"),
        (["piece", "span", "--out", "p", "--bed", "220,220"], "--bed"),
        (["machine", "describe"], "NAME"),
    ],
)
def test_wrong_use_exits_2_with_what_where_and_what_to_do(cli, arguments, where):
    ran = cli("--json", *arguments)
    assert (ran.status, ran.out) == (2, "")
    assert ran.error["kind"] == "input"
    assert ran.error["message"] and ran.error["hint"]
    if where:
        assert where in (ran.error["where"] or ""), ran.error


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["allow", "hole", "-8"], "above 0"),
        (["allow", "hole", "--", "-8"], "up to 1000000."),
        (["instrument", "check", "cal", "-5", "--length", "5", "--u", "1"], "put -- before it"),
        (["restore", "abc", "--yes"], "is no whole number"),
        (["found", "--port", "/dev/none-here"], "`asleft ports`"),
        (["found"], "`asleft ports`"),
        (["solve", "feed", "x.csv", "--tolerance", "feed=200%"], "below 100 %."),
        (["solve", "feed", "x.csv", "--tolerance", "shear=2000mrad"], "below 1000 mrad."),
        (["solve", "feed", "x.csv", "--steps", "X=93"], "--steps E=VALUE"),
    ],
)
def test_a_slip_of_the_hand_is_told_with_what_would_do(cli, arguments, said):
    ran = cli("--json", *arguments)
    assert ran.status in (2, 3) and said in f"{ran.error['message']} {ran.error['hint']}", ran.err


def test_an_event_may_be_typed_in_capitals(cli):
    assert cli("machine", "describe", "bench").status == 0
    assert cli("event", "Nozzle", "--json").json["kind"] == "nozzle"


def test_people_get_the_same_in_words(cli):
    plain = cli("solve", "feed", "x.csv", "--mpe", "-0.03")
    assert plain.status == 2 and plain.out == ""
    assert "Where: --mpe" in plain.err and "What to do: " in plain.err


def test_json_may_stand_behind_the_command(cli):
    assert cli("solve", "feed", "missing.csv", "--json").error["kind"] == "input"


@pytest.mark.parametrize(
    ("fault", "status"),
    [
        (StoreError("full"), 2),
        (LineError("silent", where="port 7"), 3),
        (MachineError("too hot"), 3),
        (Stopped("enough"), 130),
        (KeyboardInterrupt(), 130),
        (InputEndedError("no more"), 1),
    ],
)
def test_status_follows_the_tree(fault, status, capsys, tmp_path):
    assert failure.tell(fault, Session(home_given=str(tmp_path))) == status
    assert capsys.readouterr().out == ""


def test_a_fault_of_our_own_names_its_report(capsys, tmp_path):
    session = Session(json_asked=True, home_given=str(tmp_path / "home"))
    try:
        {}["nothing"]
    except KeyError as fault:
        assert failure.tell(fault, session) == 4
    told = json.loads(capsys.readouterr().err)
    assert told["kind"] == "bug"
    report = Path(told["where"])
    assert report.parent == tmp_path / "home" / "log"
    text = report.read_text(encoding="utf-8")
    assert "KeyError" in text and "test_failure.py" in text and "asleft 0." in text


def test_a_report_finds_a_place_when_the_home_is_none(capsys, tmp_path):
    (tmp_path / "home").write_text("a file where the folder should be")
    assert failure.tell(ValueError("x"), Session(True, str(tmp_path / "home"))) == 4
    report = Path(json.loads(capsys.readouterr().err)["where"])
    assert report.exists() and tmp_path not in report.parents
    report.unlink()
    report.parent.rmdir()


def test_a_home_that_is_a_file_is_a_store_error(cli, tmp_path):
    (tmp_path / "file").write_text("")
    ran = cli("--json", "--home", str(tmp_path / "file"), "machine", "list")
    assert ran.status == 2 and ran.error["kind"] == "store"
    assert str(tmp_path / "file") in ran.error["where"]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_a_full_disk_under_standard_output_is_told(command):
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [command, "--help"], stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    assert done.returncode == 2 and "cannot be written" in done.stderr


def test_nobody_reading_is_no_traceback(command):
    reader, writer = os.pipe()
    os.close(reader)
    done = subprocess.run(
        [command, "--help"], stdout=writer, stderr=subprocess.PIPE, text=True, check=False
    )
    os.close(writer)
    assert "Traceback" not in done.stderr and "Exception" not in done.stderr


def test_a_record_needs_a_place_unless_it_is_printed(cli):
    ran = cli("record")
    assert ran.status == 2 and "--out" in ran.err


def test_the_log_is_in_the_home_and_tells_what_went_wrong(cli, tmp_path):
    assert cli("machine", "show", "nobody").status == 2
    log = (tmp_path / "home" / "log" / "asleft.log").read_text(encoding="utf-8")
    assert "machine" in log and "no machine is called 'nobody'" in log


def test_solving_leaves_no_home_behind(cli, tmp_path):
    (tmp_path / "feed.csv").write_text("fed_mm,commanded_mm\n100,100\n100.1,100\n99.9,100\n")
    assert cli("solve", "feed", "feed.csv").status == 0
    assert not (tmp_path / "home").exists()


@pytest.mark.skipif(os.name == "nt", reason="needs a POSIX shell")
@pytest.mark.parametrize("closed", ["<&-", ">&-", "2>&-"])
def test_a_closed_stream_is_no_fault_of_ours(command, tmp_path, closed):
    line = f"'{command}' --home '{tmp_path / 'home'}' trial feed {closed}"
    done = subprocess.run(
        ["sh", "-c", line], stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False
    )
    assert done.returncode == 2 and "Traceback" not in done.stderr


def test_a_terminal_without_our_letters_still_gets_its_answer(cli):
    assert cli("--help", PYTHONIOENCODING="ascii", PYTHONUTF8="0").status == 0
