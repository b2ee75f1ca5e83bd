"""The strip on every sheet: what is on at the machine, and whose turn it is.

Also what the stream of an open page carries. Stands on a worker's state alone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from asleft.page.doing import TITLES
from asleft.page.jobs import Worker
from asleft.page.saying import seconds

if TYPE_CHECKING:
    from asleft.page.house import House

POINTS, ROWS = 60, 8  # what a small picture and a short table can show


def title(worker: Worker) -> str:
    """What is being done, in a few words."""
    doing = worker.doing
    return TITLES.get(doing.part) or TITLES.get(doing.job) or "This evening"


def status(worker: Worker) -> dict[str, Any]:
    """What is on, for the strip on every sheet."""
    present, doing = worker.person.present, worker.doing
    if present is not None:
        count = f", {present.ask.count[0]} of {present.ask.count[1]}" if present.ask.count else ""
        return {"turn": True, "text": f"{title(worker)}{count}: your turn"}
    if worker.busy:
        wait = worker.person.wait
        return {"turn": False, "text": f"{title(worker)}: {wait.what if wait else 'working'}"}
    if doing.state in ("stopped", "failed"):
        return {"turn": True, "text": f"{title(worker)}: stopped"}
    return {"turn": False, "text": ""}


def others(house: House, machine: str) -> list[dict[str, Any]]:
    """What is on at the other machines, those that need the person first."""
    told = [
        {"machine": each.machine, **status(each)}
        for each in house.at_work()
        if each.machine != machine
    ]
    return sorted((each for each in told if each["text"]), key=lambda each: not each["turn"])


def elsewhere(house: House, machine: str) -> str | None:
    """The machine at which a question waits while none does at this one, or None."""
    asking = [each.machine for each in house.at_work() if each.person.present is not None]
    return None if machine in asking or not asking else asking[0]


def pulse(worker: Worker) -> dict[str, Any]:
    """What the stream tells between two versions: the wait, and what to say if contact is lost."""
    wait, present = worker.person.wait, worker.person.present
    told: dict[str, Any] = {**status(worker), "busy": worker.busy}
    told["step"] = present.key if present else None
    told["tone"] = present is not None or worker.doing.state in ("stopped", "failed")
    if wait is not None and present is None:
        told["warm"] = warm(worker)
        told["wait"] = {"done": round(wait.done, 3), "left": seconds(wait.remaining_s)}
    return told


def warm(worker: Worker) -> dict[str, Any] | None:
    """The temperature while it is waited for: a curve of up to `POINTS`, and its numbers.

    Returns:
        `now` and `target` in words, `points` and `line` (height of the target) in a picture of
        300 by 80, `rows` of seconds and °C; None where nothing warms up.
    """
    on = worker.warming
    if on is None:
        return None
    seen = list(on.seen)
    wait = worker.person.wait
    left_s = (wait.remaining_s if wait else None) or 0.0
    wide_s = max(seen[-1][0] + left_s, 1e-9)
    low = min(each for _, each in seen)
    high = max(on.target_c, *(each for _, each in seen))

    def height(value_c: float) -> float:
        return round(74 - 66 * (value_c - low) / (high - low or 1.0), 1)

    part = "Bed" if on.sensor == "B" else "Nozzle"
    return {
        "now": f"{part} {seen[-1][1]:.0f} °C of {on.target_c:.0f} °C",
        "points": " ".join(f"{300 * s / wide_s:.1f},{height(c)}" for s, c in _some(seen, POINTS)),
        "line": height(on.target_c),
        "rows": [[f"{s:.0f} s", f"{c:.0f} °C"] for s, c in _some(seen, ROWS)],
    }


def _some(seen: list[tuple[float, float]], most: int) -> list[tuple[float, float]]:
    """Every so many of them, and always the last."""
    every = -(-len(seen) // most)
    return [*seen[:-1:every], seen[-1]]
