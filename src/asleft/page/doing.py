"""What each job of a worker asks of its bench; the page's whole list of what it can have done.

No form reaches the bench but through a name in this table. Stands on `bench` alone.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from asleft.bench.evening import whole_evening

if TYPE_CHECKING:
    from asleft.bench import Bench
    from asleft.page.jobs import Worker

Options = Mapping[str, Any]


def _evening(bench: Bench, options: Options, worker: Worker) -> None:
    whole_evening(
        bench,
        options["wishes"],
        began=worker.began,
        ended=worker.ended,
        done=worker.doing.done,
        trials=options["trials"],
    )


def _one(
    name: str, job: Callable[[Bench, Options], dict[str, Any]]
) -> Callable[[Bench, Options, Worker], None]:
    def run(bench: Bench, options: Options, worker: Worker) -> None:
        worker.began(name)
        worker.ended(name, job(bench, options))

    return run


def _set(*, store: bool) -> Callable[[Bench, Options, Worker], None]:
    """Set what was found; what is handed over is entered at the person's word, and proved."""

    def run(bench: Bench, _options: Options, worker: Worker) -> None:
        done = worker.doing.done
        if "set" not in done:
            worker.began("set")
            worker.ended("set", bench.set(from_findings=True, store=store))
        told = done["set"]
        if not (told["handed_over"] and told["by_hand"]):
            return
        worker.began("enter")
        bench.entered(told)
        if any(trial == "span" for trial in _measured(bench)):
            worker.began("proof")
            worker.ended("proof", bench.prove())

    return run


def _measured(bench: Bench) -> list[str]:
    """The trials of this calibration that came to a result."""
    number = bench.last_calibration()
    trials = bench.record(number, close=False, whole=False)["trials"]
    return [str(trial["kind"]) for trial in trials if trial["outcome"] == "done"]


JOBS: dict[str, Callable[[Bench, Options, Worker], None]] = {
    "found": _one("found", lambda bench, _: bench.found()),
    "evening": _evening,
    "trial": lambda bench, options, worker: _one(
        options["kind"], lambda b, o: b.trial(o["kind"], o["wishes"])
    )(bench, options, worker),
    "set": _set(store=False),
    "store": _set(store=True),
    "power": _one("power", lambda bench, _: bench.prove(power_cycle_now=True)),
    "proof": _one("proof", lambda bench, _: bench.prove()),
    "undo": _one("undo", lambda bench, _: bench.undo()),
    "restore": _one(
        "restore", lambda bench, options: bench.restore(options["kept"], everything=True)
    ),
}
TITLES = {
    "found": "Keeping what the machine holds, as found",
    "feed": "Feed",
    "set feed": "Setting the extruder",
    "feed again": "Feed, to prove it",
    "traverse": "Traverse",
    "span": "Span",
    "span more": "Span, read again",
    "set span": "Setting what was found",
    "set": "Setting what was found",
    "enter": "Entering by hand",
    "power": "Power off and on",
    "proof": "The second piece",
    "bead": "Bead",
    "fit": "Fit",
    "undo": "Putting back what was changed",
    "restore": "Putting back a kept state",
}
