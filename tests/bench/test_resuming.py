"""Gone at any prompt, begun again: the trial goes on where it stood, and nothing is doubled."""

from __future__ import annotations

import time
from dataclasses import replace

import pytest

from asleft.bench import Ask, TakeBack
from asleft.bench.trial.running import pending
from asleft.controller import machine
from asleft.errors import RefusedError, Stopped
from asleft.practice.hands import Hands
from asleft.trials import Feed, FeedTrial, Heat
from asleft.units import Typed

FEED = {"temperature_c": 205.0, "repeats": 2}
PROMPTS = [
    "feed.ready",
    "feed.1.mark",
    "feed.1.remaining",
    "feed.2.mark",
    "feed.2.remaining",
]


@pytest.mark.parametrize("gone_at", PROMPTS)
def test_a_feed_trial_left_at_a_prompt_goes_on_there(sit_down, hands, gone_at) -> None:
    with sit_down(gone_at) as (bench, first), pytest.raises(Stopped):
        bench.trial("feed", FEED)
    assert not hands.ask("peek_heaters")["on"], "left hot"
    with sit_down() as (bench, second):
        told = bench.trial("feed", FEED)
    assert first.asked + second.asked == PROMPTS
    assert second.asked[0] == gone_at
    assert told["outcome"] == "done"
    assert [reading["key"] for reading in told["readings"]] == [
        "feed.1.remaining",
        "feed.2.remaining",
    ]


def test_a_span_trial_left_among_its_readings_goes_on_there(sit_down) -> None:
    with sit_down("span.1.17") as (bench, first), pytest.raises(Stopped):
        bench.trial("span", {})
    with sit_down() as (bench, second):
        told = bench.trial("span", {})
    keys = [reading["key"] for reading in told["readings"]]
    assert len(keys) == len(set(keys)) == 34
    assert second.asked[0] == "span.1.17"
    assert not set(first.asked) & set(second.asked)


def test_a_trial_does_not_go_on_under_other_settings(sit_down) -> None:
    with sit_down("feed.2.mark") as (bench, _), pytest.raises(Stopped):
        bench.trial("feed", FEED)
    with sit_down() as (bench, _):
        bench._desk.connect().send_raw_settings(["M92 E71"])
        with pytest.raises(RefusedError, match="settings changed"):
            bench.trial("feed", FEED)
        assert bench.trial("feed", FEED)["outcome"] == "done"  # a new one


def test_a_feed_cut_short_is_begun_again_from_its_mark() -> None:
    """How much went in is unknown: the mark no longer means anything."""
    steps = FeedTrial(temperature_c=205.0, repeats=2).steps
    states = {s.key: "done" for s in steps[:3]}
    cut = next(s for s in steps if isinstance(s, Feed))
    left = pending(steps, {**states, cut.key: "started"})
    assert [s.key for s in left][:3] == ["feed.heat", "feed.1.mark", "feed.1.feed"]
    assert isinstance(left[0], Heat)


class SecondThoughts:
    """Types a wrong reading at one place and takes it back at the next question."""

    def __init__(self, person, wrong_at: str) -> None:
        self.person, self.wrong_at = person, wrong_at
        self.typed_wrong = self.took_back = False
        self.told: list[str] = []

    def tell(self, text: str) -> None:
        self.told.append(text)

    def progress(self, *_) -> None:
        pass

    def confirm(self, ask: Ask) -> bool:
        self._think(ask)
        return self.person.confirm(ask)

    def number(self, ask: Ask) -> Typed:
        if ask.key == self.wrong_at and not self.typed_wrong:
            self.typed_wrong = True
            return Typed(2.0, "2.0")
        self._think(ask)
        return self.person.number(ask)

    def choose(self, ask: Ask) -> str:
        self._think(ask)
        return self.person.choose(ask)

    def _think(self, ask: Ask) -> None:
        if self.typed_wrong and not self.took_back:
            self.took_back = True
            raise TakeBack


@pytest.mark.parametrize(("kind", "at"), [("feed", "feed.1.remaining"), ("span", "span.1.3")])
def test_a_reading_taken_back_at_the_next_question_is_asked_again(sit_down, kind, at) -> None:
    with sit_down() as (bench, person):
        thinking = SecondThoughts(person, at)
        bench._desk.person = thinking
        told = bench.trial(kind, FEED if kind == "feed" else {})
        record = bench.record(close=False)
    assert told["outcome"] == "done"
    assert "2.0" not in [row["raw"] for row in told["readings"]]
    both = [r for r in record["trials"][0]["readings"] if r["key"] == at]
    assert next(r["raw"] for r in both) == "2.0" and len(both) == 2  # kept, with the reason


def test_a_reading_behind_a_feed_cannot_be_taken_back(sit_down) -> None:
    with sit_down() as (bench, person):
        thinking = SecondThoughts(person, "feed.1.remaining")
        thinking.confirm = person.confirm  # thinks again only at the next number
        bench._desk.person = thinking
        told = bench.trial("feed", FEED)
    assert next(row["raw"] for row in told["readings"]) == "2.0"
    assert any("no reading right before" in text for text in thinking.told)


def test_a_machine_left_waiting_too_long_is_switched_off_and_says_so(
    sit_down, hands, monkeypatch
) -> None:
    limits = machine.guard_limits
    monkeypatch.setattr(machine, "guard_limits", lambda d: replace(limits(d), idle_off_s=1.0))
    with sit_down() as (bench, person):
        number = person.number

        def slow(ask: Ask) -> Typed:
            if ask.key == "feed.1.remaining":
                wait_until_cold(hands)
            return number(ask)

        person.number = slow
        with pytest.raises(RefusedError, match="too cold to feed"):
            bench.trial("feed", FEED)
        assert any("no command came for 1 s while hot" in text for text in person.told)
    with sit_down() as (bench, _):
        told = bench.trial("feed", FEED)
    assert (told["outcome"], len(told["readings"])) == ("done", 2)


def wait_until_cold(hands: Hands) -> None:
    end_s = time.monotonic() + 20
    while hands.ask("peek_heaters")["on"] or hands.ask("peek_heaters")["nozzle_c"] > 60:
        assert time.monotonic() < end_s, "nobody switched it off"
        time.sleep(0.05)
