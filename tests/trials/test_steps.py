"""Trials as lists of steps: shown, checked against limits, rebuilt from what the store keeps."""

from __future__ import annotations

import pytest

from asleft.controller import MachineDescription
from asleft.errors import InputError, RefusedError
from asleft.pieces import SpanPiece
from asleft.trials import CoolDown, Feed, FeedTrial, Heat, Read, SpanTrial, build, check, listing

WORKBENCH = MachineDescription(name="workbench")


def test_every_feed_is_behind_its_heating_and_every_key_is_its_own() -> None:
    steps = FeedTrial(temperature_c=205).steps
    keys = [step.key for step in steps]
    assert len(set(keys)) == len(keys)
    first_feed = next(i for i, step in enumerate(steps) if isinstance(step, Feed))
    assert any(isinstance(step, Heat) for step in steps[:first_feed])


def test_heaters_go_off_before_the_last_reading_is_asked_for() -> None:
    """A person who measures slowly does not keep a nozzle hot."""
    kinds = [type(step) for step in FeedTrial(temperature_c=205).steps]
    assert kinds[-1] is Read
    assert kinds[-2] is CoolDown


def test_detached_feed_heats_nothing() -> None:
    steps = FeedTrial(detached=True).steps
    assert not any(isinstance(step, Heat | CoolDown) for step in steps)
    assert all(step.detached for step in steps if isinstance(step, Feed))


def test_each_feed_goes_back_to_a_mark_of_its_own_trial() -> None:
    steps = FeedTrial(temperature_c=205, repeats=3).steps
    keys = {step.key for step in steps}
    assert {step.redo_from for step in steps if isinstance(step, Feed)} <= keys


@pytest.mark.parametrize(
    ("options", "named"),
    [
        ({"temperature_c": 300.0}, "260"),
        ({"temperature_c": 205.0, "rate_mm_min": 4000.0}, "mm/min"),
        ({"temperature_c": 205.0, "tool": 1}, "tool 1"),
        ({"temperature_c": 205.0, "length_mm": 2000.0, "marked_mm": 2500.0}, "2000 mm"),
    ],
)
def test_outside_the_machines_limits_is_refused_as_a_whole(
    options: dict[str, float], named: str
) -> None:
    with pytest.raises((RefusedError, InputError), match=named):
        check(build("feed", options), WORKBENCH)


@pytest.mark.parametrize(
    "options",
    [
        {"marked_mm": 100.0, "length_mm": 100.0},
        {"length_mm": -5.0},
        {"repeats": 0},
    ],
)
def test_a_feed_that_leaves_nothing_to_measure_is_no_trial(options: dict[str, float]) -> None:
    with pytest.raises(InputError):
        build("feed", options)


def test_a_hot_feed_without_a_temperature_asks_for_it() -> None:
    with pytest.raises(InputError, match="temperature") as caught:
        listing(build("feed", {}).steps, WORKBENCH)
    assert caught.value.where == "--temperature"


def test_an_unknown_trial_is_named() -> None:
    with pytest.raises(InputError, match="cube"):
        build("cube", {})


@pytest.mark.parametrize(
    "trial",
    [
        FeedTrial(temperature_c=205.0, repeats=2),
        SpanTrial(piece=SpanPiece(pitch_mm=80.0), rounds=2),
    ],
)
def test_rebuilt_from_its_parameters_it_is_the_same_trial(trial: FeedTrial | SpanTrial) -> None:
    again = build(trial.kind, trial.parameters)
    assert again == trial
    assert again.steps == trial.steps


def test_the_listing_says_what_will_be_commanded() -> None:
    text = "\n".join(listing(FeedTrial(temperature_c=205.0).steps, WORKBENCH))
    assert "M104 S205" in text
    assert text.count("G1 E") == 4
    assert "M109" not in text  # a blocking wait would stand before a stop


def test_a_cold_feed_lists_that_the_guard_goes_off_and_on() -> None:
    text = "\n".join(listing(FeedTrial(detached=True).steps, WORKBENCH))
    assert text.count("M302 P1") == text.count("M302 P0") == 4


def test_span_prompts_carry_the_labels_of_the_drawing() -> None:
    trial = SpanTrial()
    labels = [step.place for step in trial.steps if isinstance(step, Read)]
    assert labels == [place.label for place in trial.piece.places()]
