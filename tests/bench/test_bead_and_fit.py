"""The trials bead and fit at a real practice machine: run, taken back, gone on with, undone."""

from __future__ import annotations

import pytest

from asleft.bench import Ask, TakeBack
from asleft.bench.rechecking import recheck
from asleft.errors import RefusedError, Stopped
from asleft.pieces import FitPiece
from asleft.units import Typed

FEED = {"temperature_c": 205.0}
SHAFT = {"piece": FitPiece(gauge_mm=8.0, parts="bores")}


def _known(told, name):
    return next(q for q in told["result"]["quantities"] if q["name"] == name)


def test_a_bead_trial_without_a_feed_trial_says_what_it_leans_on(sit_down) -> None:
    with sit_down() as (bench, person):
        told = bench.trial("bead", {})
        record = bench.record(close=False)
    assert told["outcome"] == "done" and len(told["readings"]) == 12
    assert any("feed was never measured" in text for text in told["warnings"])
    flow = _known(told, "flow")
    assert 0.7 < flow["value"] < 1.3 and flow["low95"] < flow["value"] < flow["high95"]
    assert [p["place"] for p in told["result"]["proposals"]] == ["making", "making"]
    assert {row["band"] for row in told["readings"]} == {"1", "2", "3"}
    assert person.asked[:2] == ["bead.print", "bead.cool"]
    assert recheck(record)["same"]


def test_a_wrong_feed_comes_before_the_bead(sit_down) -> None:
    with sit_down() as (bench, _):
        feed = bench.trial("feed", FEED)
        (proposal,) = [p for p in feed["result"]["proposals"] if p["setting"] == "steps_per_mm"]
        assert proposal["verdict"] == "adjust"
        with pytest.raises(RefusedError, match=r"feed is .* off"):
            bench.trial("bead", {})
        bench.set(None, from_findings=True, store=False)
        told = bench.trial("bead", {"rounds": 2, "measured_diameter_mm": 1.75})
        assert told["outcome"] == "done" and not told["warnings"]
        row = bench._desk.store.trials(bench._desk.calibration())[-1]
        basis = row.parameters["basis"]
        assert basis["feed_u"] == pytest.approx(proposal["u"] / proposal["proposed"])
        bench.event("extruder", "another gear")
        again = bench.trial("bead", {})
    assert any("the extruder was replaced" in text for text in again["warnings"])


def test_a_fit_trial_asks_little_and_feeds_what_to_draw(sit_down) -> None:
    with sit_down() as (bench, person):
        told = bench.trial("fit", SHAFT)
        record = bench.record(close=False)
        results, _ = bench.findings()
        event = bench.event("nozzle", "a new one")
        without, _ = bench.findings()
    tries = [key for key in person.asked if key.startswith("fit.") and key[4:].isdigit()]
    assert told["outcome"] == "done" and tries[0] == "fit.6"
    assert len(told["readings"]) == len(tries) < 10
    for row in told["readings"]:
        assert row["outcome"] == row["raw"] and row["kind"] == "bore"
        assert (row["gauge_mm"], row["value"]) == (8.0, row["drawn_mm"])
    assert _known(told, "gauge")["u"] > 0
    assert recheck(record)["same"]
    assert [q["name"] for q in results[-1]["quantities"]][:2] == ["clearance", "clearance_loose"]
    assert "fit" in event["undoes"] and "fit (fit trial)" in event["due"]
    assert "clearance" not in [q["name"] for q in without[-1]["quantities"]]


class Triable:
    """Answers tries of bores that turn from 0.12 mm and are loose from 0.27 mm on; slips once."""

    def __init__(self, *, slips_at: str | None = None, leaves_at: str | None = None) -> None:
        self.slips_at, self.leaves_at = slips_at, leaves_at
        self.asked: list[str] = []

    def tell(self, text: str) -> None: ...

    def progress(self, *_) -> None: ...

    def confirm(self, ask: Ask) -> bool:
        return True

    def number(self, ask: Ask) -> Typed:
        value = ask.details.get("drawn_width_mm", 2.4)
        return Typed(value, str(value))

    def choose(self, ask: Ask) -> str:
        if ask.action != "try_fit":
            return "skip"
        if self.asked and self.asked[-1] == self.slips_at:
            self.slips_at = None
            raise TakeBack
        if ask.key == self.leaves_at:
            raise Stopped("gone", where=ask.key)
        self.asked.append(ask.key)
        if ask.key == self.slips_at:
            return "loose"
        gap = ask.details["drawn_mm"] - ask.details["gauge_mm"]
        return "refuses" if gap < 0.12 else "turns" if gap < 0.27 else "loose"


def test_a_try_taken_back_brings_back_what_it_had_spared(sit_down) -> None:
    with sit_down() as (bench, _):
        bench._desk.person = Triable(slips_at="fit.3")
        told = bench.trial("fit", SHAFT)
        bench._desk.person = Triable()
        plain = bench.trial("fit", {**SHAFT, "anew": True})
    assert told["result"]["quantities"] == plain["result"]["quantities"]
    assert sorted(r["key"] for r in told["readings"]) == sorted(r["key"] for r in plain["readings"])


def test_an_interrupted_fit_trial_goes_on_with_what_was_tried(sit_down) -> None:
    with sit_down() as (bench, _):
        bench._desk.person = leaves = Triable(leaves_at="fit.9")
        with pytest.raises(Stopped):
            bench.trial("fit", SHAFT)
    with sit_down() as (bench, _):
        bench._desk.person = goes_on = Triable()
        told = bench.trial("fit", {})
    assert goes_on.asked[0] == "fit.9" and not set(leaves.asked) & set(goes_on.asked)
    assert told["outcome"] == "done"
    assert len(told["readings"]) == len(leaves.asked) + len(goes_on.asked)


def test_a_mass_that_nobody_can_weigh_is_passed_over(sit_down) -> None:
    with sit_down() as (bench, _):
        bench._desk.person = Triable()
        told = bench.trial("bead", {"density_g_cm3": 1.24})
    assert told["outcome"] == "done"
    assert {row["unit"] for row in told["readings"]} == {"mm"}
    assert any("no mass" in text for text in told["warnings"])


def test_readings_taken_elsewhere_make_the_same_finding(sit_down) -> None:
    rows = "drawn_mm,gauge_mm,outcome\n8.05,8,refuses\n8.1,8,refuses\n8.15,8,turns\n8.3,8,loose\n"
    widths = "drawn_width_mm,reading_mm\n0.65,0.66\n0.55,0.56\n0.45,0.46\n0.65,0.65\n"
    with sit_down() as (bench, _):
        bench.found()
        fit = bench.trial("fit", {"readings": (rows, "fit.csv")})
        bead = bench.trial("bead", {"readings": (widths, "bead.csv")})
        assert recheck(bench.record(close=False))["same"]
    assert [row["raw"] for row in fit["readings"]] == rows.split()[1:]
    assert 0.10 < _known(fit, "clearance")["value"] < 0.15
    assert bead["outcome"] == "done" and len(bead["readings"]) == 4
