"""What to do this evening: jobs with their reasons, minutes and grams, in an order that keeps.

From the sentence a person comes with, what was replaced, and what the store knows. Offers; runs
nothing and changes nothing. Stands on `undoing` for what an event undoes.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Literal

from asleft.bench.years.events import EVENTS, FINDINGS
from asleft.bench.years.undoing import due
from asleft.errors import InputError
from asleft.measure.plan import feed_cost, reading_minutes
from asleft.record.history import last_done

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from asleft.bench.desk import Desk
    from asleft.controller import MachineDescription

Door = Literal["wrong", "replaced"]

ORDER = ("feed", "traverse", "span", "bead", "fit")
"""The trials in the order in which nothing later spoils what came before: feed, motion, sizes."""

# A person does this much beside printing and reading: cooling, cleaning, entering (a guess).
COOLING_MIN = 30.0
FIT_TRIES = 6
WHATS = {
    "feed": "Feed filament and measure what went in",
    "traverse": "Move one axis to places and read it from both sides",
    "span": "Print a piece with posts and read it with the caliper",
    "bead": "Print a ring one bead thick and read its wall",
    "fit": "Try your own shaft or bearing in printed sizes",
}
WHYS = {
    "feed": "every printed size rests on the right amount of plastic, so it comes first",
    "traverse": "slack shows only when an axis is read from both sides",
    "span": "it tells a wrong scale from walls that are merely fat",
    "bead": "it finds the flow for the slicing profile, once the feed is right",
    "fit": "it finds what to draw so that your part turns",
}
# Without a complaint about slack or fits these may wait for another evening.
USUAL = ("feed", "span")


@dataclass(frozen=True)
class Job:
    """One job for this evening; `grams` None where it is not known beforehand, and why not.

    `advised` is what the evening should hold; the others can be added.
    """

    trial: str
    what: str
    why: str
    minutes: float
    grams: float | None
    reason: str | None
    advised: bool


def propose(desk: Desk, door: Door, replaced: str | None) -> dict[str, Any]:
    """The jobs for this evening; `asleft.evening/1`.

    Args:
        desk: store and machine; no line is opened.
        door: `wrong` (parts come out wrong) or `replaced` (something was replaced).
        replaced: which event, for the second door.

    Raises:
        InputError: no such door or event.
    """
    if door not in ("wrong", "replaced") or (door == "replaced" and replaced not in EVENTS):
        raise InputError(
            f"there is no evening for {replaced or door!r}",
            hint=f"What can be replaced: {', '.join(EVENTS)}.",
            where="evening",
        )
    overdue = {entry["trial"]: entry["why"] for entry in due(desk)["due"]}
    undone = set(EVENTS[replaced].undoes) if replaced else set()
    jobs = []
    for trial, groups in FINDINGS.items():
        why, advised = WHYS[trial], trial in USUAL and door == "wrong"
        if undone & set(groups):
            assert replaced is not None  # noqa: S101 - only an event undoes anything
            why, advised = f"{EVENTS[replaced].words}: what was found before is undone", True
        elif trial in overdue:
            why, advised = f"{overdue[trial]}; {why}", True
        jobs.append(_job(desk.description_unconnected, trial, why, advised=advised))
    jobs.sort(key=lambda job: ORDER.index(job.trial))
    return {
        "schema": "asleft.evening/1",
        "machine": desk.row.name,
        "jobs": [asdict(job) for job in jobs],
    }


def _job(machine: MachineDescription, trial: str, why: str, *, advised: bool) -> Job:
    minutes, grams = _cost(machine, trial)
    reason = None if grams is not None else "it depends on your own part"
    return Job(trial, WHATS[trial], why, round(minutes), grams, reason, advised)


def _cost(machine: MachineDescription, trial: str) -> tuple[float, float | None]:
    """Minutes and grams: printing as the piece's volume tells, and a person's time to read it."""
    if trial == "feed":
        minutes, grams = feed_cost(100.0, 4, machine.filament_mm)
        return minutes, round(grams, 1)
    if trial == "traverse":
        return reading_minutes(30), 0.0
    if trial == "span":
        from asleft.pieces import SpanPiece, column_cost, span_cost

        piece = SpanPiece()
        cost, column = span_cost(piece), column_cost(piece)
        minutes = cost.minutes + column.minutes + COOLING_MIN + reading_minutes(len(piece.places()))
        return minutes, round(cost.grams + column.grams, 1)
    if trial == "bead":
        from asleft.pieces import BeadPiece
        from asleft.pieces.cost import Cost
        from asleft.pieces.solid import bodies

        ring = BeadPiece.for_nozzle(machine.nozzle_mm)
        cost = Cost.of_volume(sum(body.volume_mm3 for body in bodies(ring)))
        minutes = cost.minutes + COOLING_MIN + reading_minutes(len(ring.places()))
        return minutes, round(cost.grams, 1)
    return COOLING_MIN + reading_minutes(FIT_TRIES), None


def standing(desk: Desk) -> dict[str, Any]:
    """How far the work on this machine is; `asleft.standing/1`. No line is opened.

    `calibration` and whether it is `open`, `kept` (the latest state and when), `closed_at` of the
    last one, `proved_at`, `due`, and `next`: the job that comes first of what is due.
    """
    rows = desk.store.calibrations(desk.row.id)
    kept = desk.store.latest_kept(desk.row.id)
    overdue = due(desk)["due"]
    return {
        "schema": "asleft.standing/1",
        "machine": desk.row.name,
        "calibration": rows[-1].id if rows else None,
        "open": bool(rows) and rows[-1].closed_at is None,
        "closed_at": rows[-1].closed_at if rows else None,
        "kept": None if kept is None else {"kept": kept.id, "at": kept.at, "reason": kept.reason},
        "proved_at": last_done(desk.store, desk.row.id).get("proof"),
        "events": [
            {"kind": e.kind, "words": EVENTS[e.kind].words, "text": e.text, "at": e.at}
            for e in desk.store.events(desk.row.id)
        ],
        "due": overdue,
        "next": _first_of(desk, overdue),
    }


def _first_of(desk: Desk, overdue: Sequence[Mapping[str, Any]]) -> dict[str, Any] | None:
    """The job of what is due that nothing later spoils."""
    entries = [each for each in overdue if each["trial"] in ORDER]
    if not entries:
        return None
    first = min(entries, key=lambda each: ORDER.index(each["trial"]))
    machine = desk.description_unconnected
    return asdict(_job(machine, first["trial"], first["why"], advised=True))
