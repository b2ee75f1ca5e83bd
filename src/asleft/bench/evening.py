"""A whole evening at one machine, in the order in which nothing later spoils what came before.

Keep as found, feed, set, feed again, traverse, span, set and store, power off and on, second
piece, bead, fit. Every step goes through the same `Bench` methods that the single commands use.
An evening that was cut short goes on behind the jobs that it had done.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from asleft.bench.proposing import ORDER
from asleft.bench.workshop import Bench

Do = Callable[[str, Callable[[], dict[str, Any]]], dict[str, Any]]


@dataclass(frozen=True)
class Evening:
    """What one evening came to: the JSON objects of its jobs, in order, by name."""

    jobs: Mapping[str, dict[str, Any]]
    commands: int

    @property
    def as_found(self) -> dict[str, float]:
        """What the machine held before the first trial, by name."""
        return values_by_name(self.jobs["found"])

    @property
    def as_left(self) -> dict[str, float]:
        """What it held after power was off and on."""
        held: dict[str, float] = self.jobs["power"]["read_back"]
        return held

    @property
    def readings(self) -> int:
        """How many readings were taken."""
        trials = [job for job in self.jobs.values() if job["schema"] == "asleft.trial/1"]
        return sum(len(job["readings"]) for job in trials) + len(self.jobs["proof"]["predicted"])

    @property
    def stored(self) -> bool:
        """Whether the last change was read back from the machine's storage."""
        return _last(self.jobs, "set")["stored"] is True

    @property
    def survived_power_cycle(self) -> bool:
        """Whether the machine held the same values after power was off and on."""
        return self.jobs["power"]["survived_power_cycle"] is True

    @property
    def proved(self) -> bool:
        """Whether the second piece came out inside what was predicted."""
        return self.jobs["proof"]["verified"] is True


def whole_evening(
    bench: Bench,
    options: Mapping[str, Any],
    *,
    began: Callable[[str], None],
    ended: Callable[[str, dict[str, Any]], None] = lambda _name, _told: None,
    done: Mapping[str, dict[str, Any]] | None = None,
    trials: Sequence[str] = ("feed", "span"),
) -> Evening:
    """Run the whole job, or what is left of it.

    Args:
        bench: a bench whose machine has an address.
        options: what the trials take (`temperature_c`, `instrument`, …).
        began: told the name of each job as it begins.
        ended: told the name of each job and what it came to.
        done: the jobs of an evening that was cut short, by name; they are not run again.
        trials: which trials; they are run in the order of `ORDER`.

    Raises:
        AsleftError: as the first job that could not be done gave it.
    """
    jobs: dict[str, dict[str, Any]] = dict(done or {})

    def do(name: str, job: Callable[[], dict[str, Any]]) -> dict[str, Any]:
        if name not in jobs:
            began(name)
            jobs[name] = job()
            ended(name, jobs[name])
        return jobs[name]

    do("found", bench.found)
    for trial in (each for each in ORDER if each in trials):
        if trial == "feed":
            _feed(bench, options, do)
        elif trial == "span":
            _span(bench, options, do)
        else:
            do(trial, partial(bench.trial, trial, options))
    return Evening(jobs, bench.commands_sent)


def _feed(bench: Bench, options: Mapping[str, Any], do: Do) -> None:
    """Feed, set what it found, and feed again to prove it."""
    if _proposes(do("feed", lambda: bench.trial("feed", options))):
        change = do("set feed", lambda: bench.set(from_findings=True, store=False))
        do("feed again", _once_entered(bench, change, lambda: bench.trial("feed", options)))


def _span(bench: Bench, options: Mapping[str, Any], do: Do) -> None:
    """Read the piece, set and store everything found, prove it over power and a second piece."""
    if _asks_for_more(do("span", lambda: bench.trial("span", options))):
        do("span more", lambda: bench.trial("span", {**options, "more": True}))
    change = do("set span", lambda: bench.set(from_findings=True, store=True))
    do("power", _once_entered(bench, change, lambda: bench.prove(power_cycle_now=True)))
    do("proof", bench.prove)


def _once_entered(
    bench: Bench, change: Mapping[str, Any], job: Callable[[], dict[str, Any]]
) -> Callable[[], dict[str, Any]]:
    """A job that rests on a change: where it was handed over, a person enters it first."""

    def run() -> dict[str, Any]:
        if change["handed_over"] and change["by_hand"]:
            bench.entered(change)
        return job()

    return run


def values_by_name(found: Mapping[str, Any]) -> dict[str, float]:
    """Steps per mm, skew factors and a delta's arms of an `asleft.found/1`, in one mapping."""
    arms = found["delta"] or {}
    lengths = {name: arms[name] for name in ("L", "R") if name in arms}
    return {**found["steps_per_mm"], **(found["skew"] or {}), **lengths}


def _proposes(trial: Mapping[str, Any]) -> bool:
    """Whether a trial ended with something to change in the controller."""
    result = trial["result"] or {"proposals": []}
    return any(p["verdict"] == "adjust" and p["place"] == "controller" for p in result["proposals"])


def _asks_for_more(trial: Mapping[str, Any]) -> bool:
    """Whether a trial left something of the controller undecided."""
    result = trial["result"] or {"proposals": []}
    return any(
        p["verdict"] == "measure_more" and p["place"] == "controller" for p in result["proposals"]
    )


def _last(jobs: Mapping[str, dict[str, Any]], prefix: str) -> dict[str, Any]:
    named = [job for name, job in jobs.items() if name.startswith(prefix)]
    return named[-1] if named else {"stored": None}
