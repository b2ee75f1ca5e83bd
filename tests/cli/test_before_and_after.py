"""Traverse, bead, fit, plans and allowances at the terminal: the real program on real files."""

from __future__ import annotations

import json

import pytest

TRAVERSE = "axis,target_mm,approach,reading_mm\n" + "".join(
    f"X,{t},{side},{t * 1.004 + half + off:.3f}\n"
    for t in (0, 35, 70, 105, 140)
    for off in (0.003, -0.003)
    for side, half in (("+", 0.01), ("-", -0.01))
)
BEAD = "drawn_width_mm,reading_mm,mass_g\n" + "".join(
    f"{w},{1.06 * (w - 0.043) + 0.043 + off:.3f},{mass}\n"
    for w in (0.45, 0.55, 0.65)
    for off, mass in ((0.005, 3.161), (-0.005, ""))
)
FIT = "drawn_mm,gauge_mm,outcome\n" + "".join(
    f"{8 + c},8,{word}\n"
    for c, word in ((0.05, "refuses"), (0.1, "refuses"), (0.15, "turns"), (0.2, "turns"),
                    (0.25, "loose"), (0.3, "loose"))
)  # fmt: skip

CLEAR = {"quantities": [{"name": "clearance", "axis": None, "value": 0.125, "u": 0.02}]}


def _result(ran):
    assert ran.status == 0, ran.err
    assert ran.json["schema"] == "asleft.solve/1"
    (result,) = ran.json["results"]
    return result, {q["name"]: q for q in result["quantities"]}


def test_traverse(cli, tmp_path):
    (tmp_path / "t.csv").write_text(TRAVERSE)
    result, known = _result(cli("solve", "traverse", "t.csv", "--steps", "X=80", "--json"))
    assert known["motion_scale"]["value"] == pytest.approx(0.004, abs=1e-5)
    assert known["reversal"]["value"] == pytest.approx(0.02, abs=1e-6)
    assert known["repeatability"]["u"] is None and known["repeatability"]["reason"]
    (proposal,) = result["proposals"]
    assert proposal["verdict"] == "adjust"
    assert proposal["proposed"] == pytest.approx(80 / 1.004, abs=0.001)
    said = cli("solve", "traverse", "t.csv", "--steps", "X=80")
    assert "M92 X79.68" in said.out and max(map(len, said.out.splitlines())) <= 80
    short = cli("solve", "traverse", "t.csv", "--reach", "10", "--mpe", "0.015")
    assert "cannot know the scale" in " ".join(short.out.split())


def test_traverse_parts_motion_from_shrinkage(cli, tmp_path):
    both = TRAVERSE + TRAVERSE.split("\n", 1)[1].replace("X,", "Y,")
    (tmp_path / "t.csv").write_text(both)
    rows = ["direction,faces,nominal_mm,reading_mm"]
    for axis in "XY":
        for faces, sign in (("outside", 1), ("inside", -1)):
            size = 95 + sign * 12
            # Motion +0.4 %, shrinkage 0.3 %, growth 0.1.
            real = size * 1.004 * 0.997 + sign * 0.1
            rows += [f"{axis},{faces},{size},{real + off:.2f}" for off in (0.01, -0.01, 0.0)]
    (tmp_path / "s.csv").write_text("\n".join(rows) + "\n")
    ran = cli("solve", "span", "s.csv", "--steps", "X=80,Y=80", "--traverse", "t.csv", "--json")
    result, known = _result(ran)
    assert known["shrinkage"]["value"] == pytest.approx(-0.003, abs=2e-4)
    assert known["motion_scale"]["value"] == pytest.approx(0.004, abs=2e-4)
    assert {b["input"] for b in result["budget"] if b["quantity"] == "shrinkage"} == {
        "motion, as read", "printed scale, as read",
    }  # fmt: skip
    wrong = cli("--json", "solve", "span", "s.csv", "--traverse", "s.csv")
    assert wrong.status == 2 and wrong.error["where"].startswith("s.csv")


def test_bead(cli, tmp_path):
    (tmp_path / "b.csv").write_text(BEAD)
    asked = ("solve", "bead", "b.csv", "--flow", "100", "--filament", "1000", "--density", "1.24")
    result, known = _result(cli(*asked, "--density-u", "0.01", "--json"))
    assert known["flow"]["value"] == pytest.approx(1.06, abs=0.01)
    assert result["proposals"][0]["proposed"] == pytest.approx(1 / 1.06, abs=0.01)
    said = " ".join(cli(*asked, "--density-u", "0.01").out.split())
    assert "set the flow of 100.0 % to 94." in said
    without = cli("--json", "solve", "bead", "b.csv")
    assert without.status == 2 and "--density" in without.error["hint"]


def test_fit(cli, tmp_path):
    (tmp_path / "f.csv").write_text(FIT)
    result, known = _result(cli("solve", "fit", "f.csv", "--json"))
    assert known["clearance"]["value"] == pytest.approx(0.125, abs=0.01)
    assert result["proposals"][0]["place"] == "making"
    assert "draw holes 0.17 mm larger than the part" in " ".join(
        cli("solve", "fit", "f.csv").out.split()
    )
    torn = FIT.replace("8.25,8,loose", "8.25,8,refuses")
    (tmp_path / "f.csv").write_text(torn)
    assert cli("solve", "fit", "f.csv").status == 1


def test_plans(cli):
    span = cli("plan", "span", "--bed", "220,220,220", "--reach", "150", "--json").json
    assert span["schema"] == "asleft.plan/1"
    assert {"piece", "readings", "expected", "minutes", "grams"} <= set(span)
    assert {e["name"] for e in span["expected"]} == {"printed_scale", "shear", "growth"}
    assert set(span["readings"][0]) == {"label", "direction", "faces", "nominal_mm"}
    larger = cli("plan", "span", "--pitch", "95", "--json").json
    assert larger["grams"] > span["grams"]
    assert larger["expected"][0]["u"] < span["expected"][0]["u"]
    feed = cli("plan", "feed", "--repeats", "6", "--json").json
    assert len(feed["readings"]) == 6 and feed["piece"] is None and feed["grams"] > 0
    blind = cli("plan", "traverse", "--reach", "10", "--mpe", "0.015")
    assert blind.status == 0 and "Mind:" in blind.out
    assert cli("plan", "span", "--pitch", "400").status == 2
    assert cli("plan", "feed", "--length", "nan").status == 2


def test_allow(cli, tmp_path):
    typed = (
        "--scale-percent",
        "0.3",
        "--scale-u",
        "0.02",
        "--growth",
        "0.12",
        "--growth-u",
        "0.03",
    )
    found = cli("allow", "shaft", "25", "--clearance", "0.1", *typed, "--json").json
    assert found["schema"] == "asleft.allow/1"
    assert found["draw_mm"] == pytest.approx((25 - 0.1 - 0.12) / 1.003)
    assert found["grade"] < found["grade_as_drawn"]
    said = cli("allow", "hole", "8,0", "--clearance", "0.2", *typed)
    assert said.status == 0 and "fit trial" in " ".join(said.out.split())
    (tmp_path / "found.json").write_text(
        json.dumps({"schema": "asleft.solve/1", "results": [CLEAR]})
    )
    tried = cli("allow", "hole", "8", "--findings", "found.json", "--clearance", "0.05", "--json")
    assert tried.json["draw_mm"] == pytest.approx(8.05 + 0.125, abs=0.01)
    assert tried.json["grade"] is not None


@pytest.mark.parametrize(
    "asked",
    [
        ("hole", "0"),
        ("hole", "nan"),
        ("bolt", "8"),
        ("length", "8", "--clearance", "0.1"),
        ("hole", "8", "--growth", "0.1"),
        ("hole", "8", "--findings", "none.json"),
        ("hole", "8", "--findings", "wrong.json"),
    ],
)
def test_allow_refuses(cli, tmp_path, asked):
    (tmp_path / "wrong.json").write_text(json.dumps({"schema": "asleft.found/1"}))
    ran = cli("--json", "allow", *asked)
    assert ran.status == 2 and ran.out == "" and ran.error["message"]
