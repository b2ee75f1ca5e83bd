"""Which machine's record is written and closed, where several are described."""

from __future__ import annotations

import pytest

STEPS = ("--steps", "X=80,Y=80,Z=400,E=93")


@pytest.fixture
def two(cli):
    """Two machines with a calibration each; the second one's was begun last."""
    for name in ("bench", "loft"):
        assert cli("machine", "describe", name).status == 0
        assert cli("found", "--machine", name, *STEPS).status == 0
    return cli


def test_the_record_is_the_named_machines(two):
    written = two("record", "--machine", "bench", "--json", "--close").json
    assert written["machine"]["name"] == "bench"
    assert written["calibration"]["close_reason"] == "the record was made"
    other = two("record", "--machine", "loft", "--json").json
    assert other["machine"]["name"] == "loft" and other["calibration"]["closed_at"] is None


@pytest.mark.parametrize(
    ("asked", "where"),
    [
        (("--close",), "--machine"),
        (("--close", "--machine", "attic"), "--machine"),
        (("2", "--close", "--machine", "bench"), "calibration"),
        (("3", "--machine", "bench"), "record"),
    ],
)
def test_what_may_be_another_machines_is_neither_written_nor_closed(two, asked, where):
    ran = two("record", "--json", *asked)
    assert ran.status == 2 and ran.error["where"] == where, ran.err
    for number in ("1", "2"):  # a number alone says which
        assert two("record", number, "--json").json["calibration"]["closed_at"] is None


def test_findings_are_a_files_or_a_machines(two, tmp_path):
    (tmp_path / "found.json").write_text('{"schema": "asleft.solve/1", "results": []}')
    asked = ("allow", "hole", "8", "--findings", "found.json", "--machine", "bench")
    assert two(*asked, "--json").error["where"] == "--findings"


def test_the_only_calibration_is_meant_whatever_else_is_described(cli):
    for name in ("bench", "loft"):
        assert cli("machine", "describe", name).status == 0
    assert cli("found", "--machine", "loft", *STEPS).status == 0
    assert cli("record", "--json").json["machine"]["name"] == "loft"


def test_restore_without_a_number_lists_the_kept_states(cli):
    assert cli("found", *STEPS).status == 0
    ran = cli("restore", "--json")
    assert ran.status == 2 and ran.error["where"] == "KEPT"
    assert ran.error["hint"].startswith("1 as found, 20") or "1 typed, 20" in ran.error["hint"]
