"""The strip on every sheet: what is on at the machine, and whose turn it is.

Also what the stream of an open page carries. Stands on a worker's state alone.
"""

from __future__ import annotations

from typing import Any

from asleft.page.doing import TITLES
from asleft.page.jobs import Worker
from asleft.page.saying import seconds


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


def pulse(worker: Worker) -> dict[str, Any]:
    """What the stream tells between two versions: the wait, and what to say if contact is lost."""
    wait, present = worker.person.wait, worker.person.present
    told: dict[str, Any] = {**status(worker), "busy": worker.busy}
    told["step"] = present.key if present else None
    told["tone"] = present is not None or worker.doing.state in ("stopped", "failed")
    if wait is not None and present is None:
        told["wait"] = {"done": round(wait.done, 3), "left": seconds(wait.remaining_s)}
    return told
