"""The seven sheets as data for their templates, in the order of an evening.

Each takes the house, the machine and what the address asks, and opens no line. Not for wording a
finding; that is `saying`. Stands on `bench`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from asleft.bench.proposing import Door
from asleft.bench.years.events import EVENTS
from asleft.page import past, results
from asleft.page.house import House
from asleft.page.saying import day, for_page, minutes, question, seconds
from asleft.page.strip import status, title, warm

Asked = Mapping[str, str]
Sheet = Callable[[House, Any, Asked], dict[str, Any]]


def workshop(house: House, _machine: None, _asked: Asked) -> dict[str, Any]:
    """Machines, their last proof, what changed since, what is due; two doors each."""
    shown = []
    for each in house.machines():
        with house.look(each["name"]) as bench:
            standing = bench.standing()
        shown.append(
            {
                **each,
                "standing": standing,
                "next": _next_job(standing["next"]) if standing["kept"] else None,
                "proved": day(standing["proved_at"]),
                "since": [
                    e
                    for e in standing["events"]
                    if standing["proved_at"] is None or e["at"] > standing["proved_at"]
                ],
                "status": status(house.worker(each["name"])),
            }
        )
    return {"machines": shown}


def _next_job(job: Mapping[str, Any] | None) -> str | None:
    """A job in words with its time; None where there is none."""
    if job is None:
        return None
    return f"{job['what'][:1].lower()}{job['what'][1:]}, {minutes(job['minutes'])}"


def before(house: House, machine: str, _asked: Asked) -> dict[str, Any]:
    """Cautions, hardware, caliper, connection, and what was kept as found."""
    described, common = _common(house, machine)
    with house.look(machine) as bench:
        instruments = bench.instruments()
        standing = bench.standing()
        conditions = bench.conditions()["conditions"]
    return {
        **common,
        "described": described,
        "conditions": conditions,
        "has_line": house.has_line(described),
        "instruments": instruments,
        "standing": standing,
        "kept_at": day(standing["kept"]["at"]) if standing["kept"] else None,
    }


def evening(house: House, machine: str, asked: Asked) -> dict[str, Any]:
    """The jobs proposed and why, minutes and grams; one start."""
    described, common = _common(house, machine)
    door: Door = "replaced" if asked.get("door") == "replaced" else "wrong"
    replaced = asked.get("replaced") or None
    with house.look(machine) as bench:
        instruments = bench.instruments()
        kept = bench.standing()["kept"]
        asks_which = door == "replaced" and replaced not in EVENTS
        jobs = [] if asks_which else bench.propose(door, replaced)["jobs"]
    advised = [job for job in jobs if job["advised"]]
    return {
        **common,
        "door": door,
        "replaced": replaced,
        "asks_which": asks_which,
        "events": {kind: event.words for kind, event in EVENTS.items()},
        "jobs": [{**job, "time": minutes(job["minutes"])} for job in jobs],
        "time": minutes(sum(job["minutes"] for job in advised)),
        "grams": sum(job["grams"] or 0.0 for job in advised),
        "instruments": instruments,
        "kept": kept,
        "has_line": house.has_line(described),
        "nothing_advised": bool(jobs) and not advised,
    }


def now(house: House, machine: str, asked: Asked) -> dict[str, Any]:
    """One sentence, one picture, one field, one button."""
    from asleft.bench.pictures import picture_of

    worker = house.worker(machine)
    person = worker.person
    present, wait = person.present, person.wait
    return {
        "machine": machine,
        "status": status(worker),
        "stale": bool(asked.get("stale")),
        "present": present,
        "picture": picture_of(present.ask) if present else None,
        "values": _values(present.ask.details) if present else [],
        "said": question(present.ask.text) if present else ("", ""),
        "how": for_page(str(present.ask.details.get("how") or "")) if present else "",
        "problem": for_page(present.problem or "") if present else "",
        "wait": wait,
        "warm": warm(worker),
        "left": seconds(wait.remaining_s) if wait else "",
        "told": [for_page(text) for text in person.told[-3:]],
        "doing": worker.doing,
        "title": title(worker),
        "reports": results.parts_told(worker.doing.done),
    }


def _values(details: Mapping[str, Any]) -> list[tuple[str, Any, Any]]:
    """What a change would replace: name, value in force, value wished."""
    wanted, held = details.get("wanted"), details.get("before")
    if not isinstance(wanted, Mapping) or not isinstance(held, Mapping):
        return []
    return [
        (name, held.get(name), value) for name, value in wanted.items() if held.get(name) != value
    ]


def _common(house: House, machine: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """The machine as described, and what every sheet of a machine shows."""
    with house.look() as bench:
        described = bench.machine(machine)
    return described, {"machine": machine, "status": status(house.worker(machine))}


SHEETS: dict[str, Sheet] = {
    "workshop": workshop,
    "before": before,
    "evening": evening,
    "now": now,
    "finding": results.finding,
    "change": results.change,
    "take": results.take,
    "history": past.history,
}
