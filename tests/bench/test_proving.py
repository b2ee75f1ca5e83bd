"""What a proof may say: only what was seen, and against the state that was left."""

from __future__ import annotations


def test_a_lost_change_stays_lost_however_often_it_is_asked(sit_down, hands) -> None:
    with sit_down() as (bench, _):
        bench.found()
        bench.set({"X": 81.0}, from_findings=False, store=False)
        hands.ask("power_cycle")
        first = bench.prove(power_cycled=True)
        bench.found()
        second = bench.prove(power_cycled=True)
    assert first["survived_power_cycle"] is False
    assert second["survived_power_cycle"] is False


def test_the_persons_word_is_marked_as_such(sit_down) -> None:
    with sit_down() as (bench, _):
        bench.found()
        bench.set({"X": 81.0}, from_findings=False, store=True)
        told = bench.prove(power_cycled=True)
        kept = bench._desk.store.kept(told["kept_after"])
    assert any("rests on your word" in warning for warning in told["warnings"])
    assert kept is not None and kept.standing == "in_force"  # nothing was seen to restart


def test_where_nothing_was_stored_a_word_proves_nothing(sit_down) -> None:
    with sit_down() as (bench, _):
        bench.found()
        told = bench.prove(power_cycled=True)
    assert told["survived_power_cycle"] is None and "nothing was there" in told["reason"]


def test_without_a_banner_a_power_cycle_asked_for_is_not_proved(sit_down, hands) -> None:
    with sit_down() as (bench, person):
        bench.found()
        person.person.confirm = lambda ask: True  # says yes and does nothing
        import asleft.bench.trial.proving as proving

        proving.BANNER_WITHIN_S, before = 0.3, proving.BANNER_WITHIN_S
        try:
            told = bench.prove(power_cycle_now=True)
        finally:
            proving.BANNER_WITHIN_S = before
    assert told["survived_power_cycle"] is None
    assert "banner" in told["reason"]


def test_storage_that_forgets_is_told_and_undo_puts_storage_back_too(sit_down, hands) -> None:
    with sit_down() as (bench, _):
        before = bench.found()["raw"]
        hands.ask("faults", lose_storage=True)
        told = bench.set({"X": 81.0}, from_findings=False, store=True)
        assert told["stored"] is False and "storage holds other values" in told["reason"]
        assert told["verified"] is True and told["read_back"]["X"] == 81.0
        hands.ask("faults", lose_storage=False)
        undone = bench.undo()
        assert undone["verified"] and undone["stored"]
        hands.ask("power_cycle")
        assert bench.found()["raw"].splitlines() == before.splitlines()
