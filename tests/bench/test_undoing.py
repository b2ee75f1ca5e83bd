"""Every event against every trial: what no longer stands, and that its proposals are withdrawn."""

from __future__ import annotations

import pytest

from asleft.bench.years.events import EVENTS, FINDINGS
from asleft.bench.years.undoing import group_of
from asleft.cli.event import KINDS
from asleft.errors import InputError, RefusedError

# What a person of the trade expects (common practice, no source): event, trial, stands or not.
NO_LONGER = {
    "extruder": {"feed", "bead"},
    "nozzle": {"feed", "span", "bead", "fit"},
    "filament": {"feed", "span", "bead", "fit"},
    "belt": {"span", "traverse"},
    "hotend": {"feed", "bead"},
    "firmware": {"feed", "span", "traverse", "bead", "fit"},
    "height": set(),
    "moved": {"span"},
    "other": set(),
}
CONTROLLER = {
    "extruder": {"E"},
    "nozzle": set(),
    "filament": set(),
    "belt": {"X", "Y", "Z", "L", "R", "XY"},
    "hotend": set(),
    "firmware": {"E", "X", "Y", "Z", "L", "R", "XY"},
    "height": set(),
    "moved": {"XY"},
    "other": set(),
}


def test_the_commands_events_are_those_of_the_bench() -> None:
    assert set(KINDS) == set(EVENTS)


@pytest.mark.parametrize("event", EVENTS)
@pytest.mark.parametrize("trial", FINDINGS)
def test_what_an_event_undoes(event: str, trial: str) -> None:
    touched = bool(set(EVENTS[event].undoes) & set(FINDINGS[trial]))
    assert touched == (trial in NO_LONGER[event])


@pytest.mark.parametrize("event", EVENTS)
def test_which_settings_of_the_controller_an_event_undoes(event: str) -> None:
    settings = {"E": "steps_per_mm", "X": "steps_per_mm", "Y": "steps_per_mm", "Z": "steps_per_mm"}
    settings |= {"XY": "skew", "L": "arm_length", "R": "radius"}
    gone = {axis for axis, s in settings.items() if group_of(s, axis) in EVENTS[event].undoes}
    assert gone == CONTROLLER[event]


def test_a_withdrawn_proposal_is_not_offered_and_is_due(sit_down) -> None:
    with sit_down() as (bench, _):
        bench.found()
        trial = bench.trial("feed", {"temperature_c": 205.0, "repeats": 3})
        assert trial["result"]["proposals"][0]["verdict"] == "adjust"
        told = bench.event("extruder", "a new drive gear")
        assert [gone["axis"] for gone in told["withdrawn"]] == ["E"]
        due = bench.due()["due"]
        assert any(e["trial"] == "feed" and "a new drive gear" in e["why"] for e in due)
        with pytest.raises((InputError, RefusedError), match="nothing to set"):
            bench.set(from_findings=True, store=False)
        bench.trial("feed", {"temperature_c": 205.0, "repeats": 3})
        assert not any(e["trial"] == "feed" for e in bench.due()["due"])


def test_an_unknown_event_is_named(sit_down) -> None:
    with sit_down() as (bench, _), pytest.raises(InputError, match="lightning"):
        bench.event("lightning")


def test_what_was_set_and_put_back_is_due_until_it_is_set_again(sit_down) -> None:
    with sit_down() as (bench, _):
        bench.trial("feed", {"temperature_c": 205.0, "repeats": 3})
        bench.set(None, from_findings=True, store=False)
        assert [each["trial"] for each in bench.due()["due"]] == ["span"]
        bench.undo()
        assert "what was set for E was put back" in bench.due()["due"][0]["why"]
        bench.set(None, from_findings=True, store=False)
        assert [each["trial"] for each in bench.due()["due"]] == ["span"]
