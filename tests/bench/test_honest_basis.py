"""Nothing is changed or estimated on half a report, or under wishes that were not heard."""

from __future__ import annotations

import pytest

from asleft.errors import MachineError, RefusedError, Stopped

FEED = {"temperature_c": 205.0, "repeats": 2}
STEPS = "M92 X80.00 Y80.00 Z400.00 E93.00\n"


def test_a_change_on_half_a_report_is_refused(sit_down, hands) -> None:
    with sit_down() as (bench, _):
        machine = bench._desk.connect()
        whole = machine.read_settings()
        half = next(line for line in whole.raw.splitlines() if "M92" in line).split(" Y")[0]
        machine.read_settings = lambda: _parsed(half)
        with pytest.raises(MachineError, match="not complete"):
            bench.set({"X": 81.0}, from_findings=False, store=False)
        assert bench.found()["complete"] is False  # said as it is
        del machine.read_settings
        assert machine.read_settings().steps_per_mm == whole.steps_per_mm


def _parsed(text: str):
    from asleft.controller import parse_report

    return parse_report(text)


@pytest.mark.parametrize(
    "wish",
    [
        {"repeats": 3},
        {"temperature_c": 215.0},
        {"readings": ("marked_mm,remaining_mm,commanded_mm\n120,20,100\n", "f.csv")},
        {"instrument": "another"},
    ],
)
def test_an_unfinished_trial_is_not_taken_for_another(sit_down, wish) -> None:
    with sit_down("feed.1.remaining") as (bench, _), pytest.raises(Stopped):
        bench.trial("feed", FEED)
    with sit_down() as (bench, _), pytest.raises(RefusedError, match="unfinished"):
        bench.trial("feed", {**FEED, **wish})


def test_begun_anew_the_unfinished_one_ends_and_stays_in_the_record(sit_down) -> None:
    with sit_down("feed.2.mark") as (bench, _), pytest.raises(Stopped):
        bench.trial("feed", FEED)
    with sit_down() as (bench, _):
        told = bench.trial("feed", {**FEED, "repeats": 1, "anew": True})
        record = bench.record(close=False)
    assert told["outcome"] == "done" and len(told["readings"]) == 1
    assert [t["outcome"] for t in record["trials"]] == ["stopped", "done"]
    assert len(record["trials"][0]["readings"]) == 1


def test_killed_between_a_reading_and_its_mark_it_is_not_asked_again(sit_down) -> None:
    with sit_down("feed.1.remaining") as (bench, _), pytest.raises(Stopped):
        bench.trial("feed", FEED)
    with sit_down() as (bench, person):
        calibration = bench._desk.open_calibration()
        row = bench._desk.store.unfinished_trial(calibration, "feed")
        about = {"marked_mm": 120.0, "commanded_mm": 100.0}
        bench._desk.store.add_reading(
            row.id, key="feed.1.remaining", place=about, value=20.0, raw="20.0", unit="mm"
        )
        told = bench.trial("feed", FEED)
    assert told["outcome"] == "done"
    assert "feed.1.remaining" not in person.asked


def test_a_piece_not_yet_printed_is_not_printed_under_other_settings(sit_down) -> None:
    with sit_down("span.print") as (bench, _), pytest.raises(Stopped):
        bench.trial("span", {})
    with sit_down() as (bench, _):
        bench.set({"X": 82.0}, from_findings=False, store=False)
        with pytest.raises(RefusedError, match="settings changed"):
            bench.trial("span", {})


def test_a_change_handed_over_is_true_when_a_report_shows_it(tmp_path) -> None:
    from asleft.bench import Bench

    class Nobody:
        def tell(self, text: str) -> None: ...

    with Bench(tmp_path, Nobody(), holder="a test") as bench:
        bench.found_from_report(STEPS, "paste")
        told = bench.set({"X": 80.4}, from_findings=False, store=False)
        assert told["handed_over"] and told["by_hand"] == ["M92 X80.4"]
        bench.found_from_report(STEPS, "the same again")
        assert bench.record(close=False)["changes"][0]["state"] == "handed_over"
        bench.found_from_report(STEPS.replace("X80.00", "X80.40"), "after")
        assert bench.record(close=False)["changes"][0]["state"] == "read_back"


def test_undo_takes_a_restore_back_as_well(sit_down) -> None:
    with sit_down() as (bench, _):
        before = bench.found()
        bench._desk.connect().send_raw_settings(["M92 Z410", "M203 X111"])
        other = bench.found()["kept"]
        bench.restore(before["kept"], everything=True)
        bench.restore(other, everything=True)
        assert "M203 X111" in bench.found()["raw"]
        assert bench.undo()["verified"]
        assert bench.found()["raw"].splitlines() == before["raw"].splitlines()


def test_a_hand_entry_that_is_not_as_wished_is_told(tmp_path) -> None:
    from asleft.bench import Bench

    told: list[str] = []

    class Listener:
        def tell(self, text: str) -> None:
            told.append(text)

    with Bench(tmp_path, Listener(), holder="a test") as bench:
        bench.found_from_report(STEPS, "paste")
        bench.set({"X": 80.4, "E": 95.0}, from_findings=False, store=False)
        bench.found_from_report(STEPS.replace("E93.00", "E95.90"), "after")
    assert "not in force yet" in told[-1]
    assert "95.9" in told[-1] and "80.4" in told[-1]
