"""Gone at any prompt, begun again: the trial goes on where it stood, and nothing is doubled."""

from __future__ import annotations

import pytest

from asleft.bench.running import pending
from asleft.errors import RefusedError, Stopped
from asleft.trials import Feed, FeedTrial, Heat

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
