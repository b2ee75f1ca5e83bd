"""Changes at a real controller: read back, stored, undone, restored, refused."""

from __future__ import annotations

import pytest

from asleft.errors import InputError, LineError, RefusedError, Stopped, StoreAwayError
from asleft.record import Store


def test_undo_after_two_changes_leaves_the_report_as_it_was_line_by_line(sit_down) -> None:
    with sit_down() as (bench, _):
        before = bench.found()["raw"]
        assert bench.set({"X": 80.4, "E": 91.2}, from_findings=False, store=False)["verified"]
        assert bench.set({"X": 80.9, "XY": 0.0021}, from_findings=False, store=True)["stored"]
        assert bench.found()["raw"] != before
        undone = bench.undo()
        assert undone["verified"] and undone["stored"]
        after = bench.found()["raw"]
        with pytest.raises(RefusedError, match="put back already"):
            bench.undo()
    assert after.splitlines() == before.splitlines()
    assert any("M906" in line for line in after.splitlines())  # a line the parser knows nothing of


def test_what_was_undone_is_still_so_after_a_power_cycle(sit_down, hands) -> None:
    with sit_down() as (bench, _):
        before = bench.found()["raw"]
        bench.set({"Y": 81.0}, from_findings=False, store=True)
        bench.undo()
        assert bench.prove(power_cycle_now=True)["survived_power_cycle"]
        assert bench.found()["raw"].splitlines() == before.splitlines()


def test_what_was_sent_and_could_not_be_filed_is_told_and_can_be_taken_back(
    sit_down, monkeypatch
) -> None:
    """The store goes away between the line and its answer; a shared one does so at any time."""
    with sit_down() as (bench, person):
        bench.found()
        mark = Store.mark_change

        def away(*_: object, **__: object) -> None:
            raise StoreAwayError("the store's server does not answer")

        def sent(store: Store, number: int, state: str, details: object) -> int:
            monkeypatch.setattr(Store, "keep", away)
            return mark(store, number, state, details)

        with monkeypatch.context() as patch, pytest.raises(StoreAwayError):
            patch.setattr(Store, "mark_change", sent)
            bench.set({"X": 80.4}, from_findings=False, store=False)
        assert any("may hold the new values" in text for text in person.told)
        monkeypatch.undo()
        assert bench.found()["steps_per_mm"]["X"] == 80.4
        assert bench.undo()["verified"]
        assert bench.found()["steps_per_mm"]["X"] == 80.0


def test_restore_of_everything_brings_back_what_we_never_set(sit_down) -> None:
    with sit_down() as (bench, _):
        kept = bench.found()
        bench._desk.connect().send_raw_settings(["M203 X111", "M92 Z410"])
        restored = bench.restore(kept["kept"], everything=True)
        assert restored["verified"], restored["reason"]
        assert bench.found()["raw"].splitlines() == kept["raw"].splitlines()


def test_restore_of_the_calibrating_values_leaves_the_rest_alone(sit_down) -> None:
    with sit_down() as (bench, _):
        kept = bench.found()
        bench._desk.connect().send_raw_settings(["M203 X111", "M92 Z410"])
        assert bench.restore(kept["kept"], everything=False)["verified"]
        assert "M203 X111" in bench.found()["raw"]
        assert bench.found()["steps_per_mm"] == kept["steps_per_mm"]


def test_another_machines_state_is_refused_and_nothing_is_sent(sit_down, tmp_path) -> None:
    with sit_down() as (bench, _):
        bench.found()
        bench.describe_machine({"name": "drill stand"})
        other = bench._desk.store.machine("drill stand")
        assert other is not None
        kept = bench._desk.store.keep(
            other.id, raw="M92 X10", parsed={}, reason="another", standing="pasted"
        )
        sent = bench.commands_sent
        with pytest.raises(RefusedError, match="another machine"):
            bench.restore(kept, everything=True)
        assert bench.commands_sent == sent


def test_unconfirmed_means_unsent(sit_down) -> None:
    with sit_down(gone_at="set.confirm") as (bench, _):
        before = bench.found()["raw"]
        with pytest.raises(Stopped):
            bench.set({"X": 82.0}, from_findings=False, store=True)
        assert bench.found()["raw"] == before


def test_a_value_far_from_the_one_in_force_is_meant_or_unsent(sit_down) -> None:
    with sit_down(gone_at="set.far") as (bench, _):
        before = bench.found()["raw"]
        with pytest.raises(Stopped):  # a belt is not 10 % off: the person is asked
            bench.set({"X": 88.0}, from_findings=False, store=False)
        assert bench.found()["raw"] == before
        assert bench.set({"X": 82.3, "E": 100.0}, from_findings=False, store=False)["verified"]
        assert bench.set({"X": 88.0}, from_findings=False, store=False, far=True)["verified"]


@pytest.mark.parametrize("values", [{"X": 0.0}, {"Y": -80.0}, {"Q": 3.0}, {"E1": 90.0}])
def test_an_impossible_value_sends_nothing(sit_down, values) -> None:
    with sit_down() as (bench, _):
        before = bench.found()["raw"]
        with pytest.raises(InputError):
            bench.set(values, from_findings=False, store=True)
        assert bench.found()["raw"] == before


def test_a_proposal_is_not_used_twice(sit_down) -> None:
    """Old values used twice are a classic of the pocket calculator (common practice, no source)."""
    with sit_down() as (bench, _):
        bench.found()
        trial = bench.trial("feed", {"temperature_c": 205.0})
        assert trial["result"]["proposals"][0]["verdict"] == "adjust"
        bench._desk.connect().send_raw_settings(["M92 E70"])
        with pytest.raises(RefusedError, match="now holds 70"):
            bench.set(from_findings=True, store=False)


@pytest.mark.parametrize("meanwhile", [(), ("M203 X111",)])
def test_what_was_sent_and_cut_short_is_sent_again_unless_more_changed(
    sit_down, monkeypatch, meanwhile
) -> None:
    """The program ends between sending and reading back, and the same command is given again."""
    from asleft.bench.change import sending

    def killed(*_: object) -> None:
        raise LineError("the line's process is gone", where="here")

    with sit_down() as (bench, _):
        before = bench.found()["raw"]
        trial = bench.trial("feed", {"temperature_c": 205.0})
        assert trial["result"]["proposals"][0]["verdict"] == "adjust"
        with monkeypatch.context() as patched:
            patched.setattr(sending, "read_and_keep", killed)
            with pytest.raises(LineError):
                bench.set(from_findings=True, store=False)
    with sit_down() as (bench, _):
        bench._desk.connect().send_raw_settings(meanwhile)
        if meanwhile:
            with pytest.raises(RefusedError, match="was made with"):
                bench.set(from_findings=True, store=False)
            return
        assert bench.set(from_findings=True, store=True)["stored"]
        cautions = bench.record(close=False)["cautions"]
        assert not [each for each in cautions if "never confirmed" in each]
        assert bench.undo()["verified"]
        assert bench.found()["raw"].splitlines() == before.splitlines()


def test_a_machine_on_this_port_that_is_another_one_is_named(sit_down, hands, tmp_path) -> None:
    with sit_down() as (bench, _):
        bench.found()
    from asleft.bench import Bench
    from asleft.cli.practice_person import PracticePerson

    person = PracticePerson(hands, say=lambda _: None, progress=lambda *_: None)
    with Bench(tmp_path, person, holder="t", machine="lathe", address=hands.address) as bench:
        bench.describe_machine({"name": "lathe"})
        with pytest.raises(InputError, match="workbench"):
            bench.found()


def test_undo_works_after_the_record_closed_the_calibration(sit_down) -> None:
    with sit_down() as (bench, _):
        before = bench.found()["raw"]
        bench.set({"X": 80.4}, from_findings=False, store=True)
        bench.record(close=True)
    with sit_down() as (bench, _):
        assert bench.undo()["verified"]
        assert bench.found()["raw"].splitlines() == before.splitlines()


def test_without_a_finding_nothing_else_is_stored_by_the_way(sit_down) -> None:
    with sit_down() as (bench, _):
        bench.found()
        with pytest.raises(RefusedError, match="no finding supports"):
            bench.set(from_findings=True, store=True)
        bench.set({"X": 80.4}, from_findings=False, store=False)
        assert bench.set(from_findings=True, store=True)["stored"]  # ours, set this evening
