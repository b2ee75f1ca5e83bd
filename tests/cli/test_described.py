"""Machines and instruments are described once, kept, and changed only where told."""

from __future__ import annotations

import pytest


def test_a_machine_described_is_listed_and_shown(cli):
    made = cli(
        *("machine", "describe", "long case printer", "--drive", "crossed-belt"),
        *("--bed", "220,220,250", "--max-nozzle", "245,5", "--geometry", "X=80,Z=400", "--json"),
    )
    assert made.status == 0, made.err
    assert made.json["schema"] == "asleft.machine/1"
    assert made.json["travel_mm"] == [220, 220, 250]
    assert made.json["max_nozzle_c"] == 245.5
    assert cli("machine", "list", "--json").json["machines"][0]["drive"] == "crossed-belt"
    shown = cli("machine", "show")  # the only one needs no name
    assert "220, 220, 250 mm" in shown.out and "245.5 °C" in shown.out


def test_describing_again_changes_only_what_is_given(cli):
    cli("machine", "describe", "bench", "--nozzle", "0.6", "--tools", "2")
    cli("machine", "describe", "--machine", "bench", "--bed-round", "180,300")
    shown = cli("--json", "machine", "show", "bench").json
    assert (shown["nozzle_mm"], shown["tools"], shown["bed_shape"]) == (0.6, 2, "round")
    assert len(cli("machine", "list", "--json").json["machines"]) == 1


@pytest.mark.parametrize(
    "wrong",
    [
        ("--bed", "220,220,0"),
        ("--bed", "220,220,nan"),
        ("--bed", "1.000,220,220,5"),
        ("--bed", "220,220,250", "--bed-round", "180,300"),
        ("--nozzle", "-0.4"),
        ("--tools", "0"),
        ("--drive", "rocket"),
        ("--geometry", "W=80"),
        ("--baud", "0"),
        ("--max-nozzle", "900"),
        ("--nozzle", "40"),
        ("--filament", "17.5"),
        ("--bed", "1000000,220,250"),
        ("--bed-round", "180,30000"),
    ],
)
def test_a_wrong_description_is_refused(cli, wrong):
    ran = cli("--json", "machine", "describe", "bench", *wrong)
    assert ran.status == 2 and ran.error["where"].startswith("--")


@pytest.mark.parametrize("what", ["machine", "instrument"])
@pytest.mark.parametrize("name", ["loft/bench", "loft\\bench", "loft\nbench"])
def test_a_name_that_is_none_is_refused(cli, what, name):
    ran = cli("--json", what, "describe", name)
    assert (ran.status, ran.error["where"]) == (2, "NAME")


def test_a_resolution_that_its_permissible_error_belies(cli):
    ran = cli("--json", "instrument", "describe", "rule", "--resolution", "25")
    assert (ran.status, ran.error["where"]) == (2, "--resolution")
    assert "--mpe" in ran.error["hint"]
    given = ("--resolution", "1", "--mpe", "0.5")
    assert cli("instrument", "describe", "rule", *given).status == 0


def test_nothing_wrong_is_kept(cli):
    assert cli("machine", "describe", "bench", "--nozzle", "-0.4").status == 2
    assert cli("machine", "list", "--json").json["machines"] == []


def test_unknown_names_say_which_are_known(cli):
    cli("machine", "describe", "bench")
    assert "bench" in cli("--json", "machine", "show", "bank").error["hint"]
    assert cli("--json", "instrument", "check", "none", "1", "1", "1", "--length", "1", "--u", "1")


def test_an_instrument_and_its_check_on_a_known_length(cli):
    made = cli("instrument", "describe", "vernier", "--resolution", "0,02", "--reach", "8 in")
    assert made.status == 0, made.err
    assert "203.2 mm" in made.out
    ran = cli(
        *("instrument", "check", "vernier", "100.02", "100,04", "100.02", "100.04"),
        *("--length", "100", "--u", "0.003", "--json"),
    )
    assert ran.status == 0, ran.err
    found = ran.json["check"]
    assert found["raw"][1] == "100,04"
    assert found["error_mm"] == pytest.approx(0.03)
    # sd 0.011547 over √4 is 0.00577; rounding 0.02/√12 is also 0.00577 (JCGM 100, F.2.2.1).
    assert found["error_u_mm"] == pytest.approx(0.0057735, rel=1e-3)
    listed = cli("--json", "instrument", "list").json["instruments"]
    assert listed[0]["checks"] == 1
    assert listed[0]["check"]["error_mm"] == pytest.approx(0.03)
    assert listed[0]["resolution_mm"] == 0.02


@pytest.mark.parametrize(
    ("readings", "where"),
    [
        (["100.02", "x", "100"], "reading 2"),
        (["-1", "1", "1"], ""),
        (["100", "100"], "READING"),
        (["10.02", "10", "10"], "--length"),
    ],
)
def test_a_wrong_check_is_not_kept(cli, readings, where):
    cli("instrument", "describe", "vernier")
    ran = cli(
        *("--json", "instrument", "check", "vernier", "--length", "100", "--u", "0.003"),
        *readings,
    )
    assert ran.status == 2 and where in (ran.error["where"] or "")
    assert cli("--json", "instrument", "list").json["instruments"][0]["checks"] == 0
