"""A whole evening at one machine, in the order in which nothing later spoils what came before.

Keep as found, feed, set, feed again, span, set and store, power off and on, second piece,
record. Every step goes through the same `Bench` methods that the single commands use.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from asleft.bench.workshop import Bench


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
    bench: Bench, options: Mapping[str, Any], *, began: Callable[[str], None]
) -> Evening:
    """Run the whole job.

    Args:
        bench: a bench whose machine has an address.
        options: what the trials take (`temperature_c`, `instrument`, …).
        began: told the name of each job as it begins.

    Raises:
        AsleftError: as the first job that could not be done gave it.
    """
    jobs: dict[str, dict[str, Any]] = {}

    def do(name: str, job: Callable[[], dict[str, Any]]) -> dict[str, Any]:
        began(name)
        jobs[name] = job()
        return jobs[name]

    do("found", bench.found)
    if _proposes(do("feed", lambda: bench.trial("feed", options))):
        do("set feed", lambda: bench.set(from_findings=True, store=False))
        do("feed again", lambda: bench.trial("feed", options))
    if _asks_for_more(do("span", lambda: bench.trial("span", options))):
        do("span more", lambda: bench.trial("span", {**options, "more": True}))
    do("set span", lambda: bench.set(from_findings=True, store=True))
    do("power", lambda: bench.prove(power_cycle_now=True))
    do("proof", bench.prove)
    return Evening(jobs, bench.commands_sent)


def values_by_name(found: Mapping[str, Any]) -> dict[str, float]:
    """Steps per mm and skew factors of an `asleft.found/1`, in one mapping."""
    return {**found["steps_per_mm"], **(found["skew"] or {})}


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
