"""Which proposals may still be acted on: the basis of the others no longer stands."""

from __future__ import annotations

from typing import Any

import pytest

from asleft.errors import RefusedError
from asleft.record import Store


@pytest.fixture
def calibration(store: Store) -> int:
    machine = store.add_machine({"name": "verge printer"})
    return store.open_calibration(machine, versions={}, person=None, conditions={})


def trial(
    store: Store,
    calibration: int,
    *settings: str,
    kind: str = "span",
    outcome: Any = "done",
    place: str = "controller",
) -> list[int]:
    number = store.start_trial(
        calibration, kind, parameters={}, steps=[], kept_id=None, instrument={}, making={}
    )
    proposals = [{"setting": s, "axis": a, "place": place} for s, a in map(str.split, settings)]
    if outcome == "done":
        store.conclude_trial(number, {"proposals": proposals})
    else:
        store.end_trial(number, outcome, "because", {})
    return [each.id for each in store.proposals(calibration) if each.trial_id == number]


def change(store: Store, calibration: int, name: str, *ids: int, kind: Any = "set") -> int:
    number = store.start_change(
        calibration, settings=[{"setting": name}], kind=kind, proposal_ids=ids
    )
    store.mark_change(number, "sent", {})
    store.mark_change(number, "read_back", {"verified": True})
    return number


def standing(store: Store, calibration: int) -> list[int]:
    return [each["id"] for each in store.standing_proposals(calibration)]


def test_all_that_were_just_made_stand(store: Store, calibration: int) -> None:
    ids = trial(store, calibration, "steps X", "skew XY")
    assert standing(store, calibration) == ids
    first = store.standing_proposals(calibration)[0]
    assert (first["setting"], first["axis"], first["place"]) == ("steps", "X", "controller")


def test_a_later_trial_of_the_same_kind_overtakes_all_of_the_earlier(
    store: Store, calibration: int
) -> None:
    trial(store, calibration, "steps X", "steps Y")
    feed = trial(store, calibration, "steps E", kind="feed")
    later = trial(store, calibration, "steps X")
    assert standing(store, calibration) == [*feed, *later]


def test_a_later_trial_that_came_to_nothing_overtakes_nothing(
    store: Store, calibration: int
) -> None:
    ids = trial(store, calibration, "steps X")
    trial(store, calibration, outcome="stopped")
    trial(store, calibration, outcome="no_estimate")
    assert standing(store, calibration) == ids


def test_withdrawn_ones_do_not_stand(store: Store, calibration: int) -> None:
    ids = trial(store, calibration, "steps X", "steps Y")
    store.withdraw_proposal(ids[0], "the belt was tightened")
    assert standing(store, calibration) == ids[1:]
    with pytest.raises(RefusedError, match="withdrawn before"):
        store.withdraw_proposal(ids[0], "again")


def test_a_withdrawn_proposal_does_not_bring_back_an_earlier_one(
    store: Store, calibration: int
) -> None:
    trial(store, calibration, "steps X")
    later = trial(store, calibration, "steps X")
    store.withdraw_proposal(later[0], "the belt was tightened")
    assert standing(store, calibration) == []


def test_what_was_acted_on_stands_again_once_undone(store: Store, calibration: int) -> None:
    ids = trial(store, calibration, "steps X", "steps Y")
    number = change(store, calibration, "X", ids[0])
    assert standing(store, calibration) == ids[1:]
    change(store, calibration, "X", kind="undo")
    store.mark_change(number, "undone", {})
    assert standing(store, calibration) == ids


def test_a_change_by_hand_takes_the_basis_away(store: Store, calibration: int) -> None:
    ids = trial(store, calibration, "steps X", "steps Y")
    change(store, calibration, "X")
    assert standing(store, calibration) == ids[1:]
    newer = trial(store, calibration, "steps X")
    assert standing(store, calibration) == newer


def test_a_change_that_was_not_verified_takes_nothing_away(store: Store, calibration: int) -> None:
    ids = trial(store, calibration, "steps X")
    number = store.start_change(
        calibration, settings=[{"setting": "X"}], kind="set", proposal_ids=ids
    )
    store.mark_change(number, "sent", {})
    store.mark_change(number, "read_back", {"verified": False})
    assert standing(store, calibration) == ids


def test_advice_for_the_slicing_profile_outlasts_a_change_of_the_machine(
    store: Store, calibration: int
) -> None:
    ids = trial(store, calibration, "growth XY", place="making")
    change(store, calibration, "XY")
    assert standing(store, calibration) == ids
