"""What happened to a machine, and which findings no longer stand because of it.

One table says what each event undoes. A proposal whose basis no longer stands is withdrawn with
the event as its reason; what was measured stays in the record.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from asleft.bench.years.events import EVENTS, FINDINGS, Event
from asleft.bench.years.foretelling import coming
from asleft.errors import InputError
from asleft.record.history import last_done
from asleft.units import LINEAR_AXES, SKEW_PLANES, is_tool_axis

if TYPE_CHECKING:
    from collections.abc import Mapping

    from asleft.bench.desk import Desk
    from asleft.record import EventRow


def note_event(desk: Desk, kind: str, text: str) -> dict[str, Any]:
    """File an event and withdraw what no longer stands; returns `asleft.event/1`.

    Raises:
        InputError: no such kind of event.
    """
    if kind not in EVENTS:
        raise InputError(
            f"there is no event {kind!r}", hint=f"The events are {', '.join(EVENTS)}.", where=kind
        )
    event = EVENTS[kind]
    # Withdrawn first: cut short in between, nothing is acted on that no longer stands.
    withdrawn = _withdraw(desk, event)
    number = desk.store.add_event(desk.row.id, kind, text)
    advice = ["read everything the machine holds again: asleft found"] if kind == "firmware" else []
    return {
        "schema": "asleft.event/1",
        "machine": desk.row.name,
        "event": number,
        "kind": kind,
        "text": text,
        "undoes": list(event.undoes),
        "withdrawn": withdrawn,
        "due": [*advice, *(entry["what"] for entry in due(desk)["due"])],
    }


def _withdraw(desk: Desk, event: Event) -> list[dict[str, Any]]:
    calibration = desk.open_calibration()
    if calibration is None:
        return []
    withdrawn = []
    for proposal in desk.store.standing_proposals(calibration):
        if group_of(proposal["setting"], proposal["axis"]) in event.undoes:
            desk.store.withdraw_proposal(proposal["id"], event.words)
            withdrawn.append({key: proposal[key] for key in ("setting", "axis", "proposed")})
    return withdrawn


def group_of(setting: str, axis: str) -> str:
    """Which group of findings a proposal belongs to."""
    if setting == "steps_per_mm" and is_tool_axis(axis):
        return "extruder"
    if setting == "steps_per_mm" and axis in LINEAR_AXES:
        return "axes"
    if setting in ("arm_length", "radius"):
        return "axes"
    if setting == "skew" or axis in SKEW_PLANES:
        return "shear" if setting == "skew" else setting
    return {"flow": "bead", "clearance": "fit", "shrinkage": "growth"}.get(setting, setting)


def due(desk: Desk) -> dict[str, Any]:
    """What should be looked at again on this machine, and why; `asleft.due/1`.

    For what happened to it, for what its calibrations foretell, for instruments, and for what
    was never measured.
    """
    last = last_done(desk.store, desk.row.id)
    events = desk.store.events(desk.row.id)
    entries = []
    for trial, groups in FINDINGS.items():
        if trial not in last:
            continue
        for group in groups:
            later = [e for e in events if e.at > last[trial] and group in EVENTS[e.kind].undoes]
            if later:
                entries.append(_entry(trial, group, last[trial], later[-1]))
    entries += _put_back(desk, last)
    known = {entry["what"] for entry in entries}
    foretold = coming(desk.store, desk.row, desk.clock())
    entries += [entry for entry in foretold if entry["what"] not in known]
    for trial in ("feed", "span"):
        if trial not in last:
            why = "it was never measured on this machine"
            entries.append({"what": trial, "trial": trial, "measured": None, "why": why})
    return {"schema": "asleft.due/1", "machine": desk.row.name, "due": entries}


def _put_back(desk: Desk, last: Mapping[str, str]) -> list[dict[str, Any]]:
    """Errors that were found, set and put back since, so that they are there again."""
    calibration = desk.latest_calibration()
    since: dict[str, str] = {}  # by axis: when its finding was put back
    for change in desk.store.changes(calibration) if calibration else ():
        for setting in change.settings if change.proposal_ids else ():
            if change.state == "undone":
                since[setting["axis"]] = change.marks[-1].at
            elif change.stands:
                since.pop(setting["axis"], None)
    entries = []
    for trial in ("feed", "span"):
        axes = [a for a in since if is_tool_axis(a) == (trial == "feed")]
        axes = [a for a in axes if since[a] > last.get(trial, "")]
        if axes:
            why = f"what was set for {', '.join(axes)} was put back, {since[axes[0]][:10]}"
            told = {"what": f"settings ({trial} trial)", "trial": trial}
            entries.append({**told, "measured": last.get(trial), "why": why})
    return entries


def _entry(trial: str, group: str, measured: str, event: EventRow) -> dict[str, Any]:
    why = f"{EVENTS[event.kind].words}, {event.at[:10]}"
    return {
        "what": f"{group} ({trial} trial)",
        "trial": trial,
        "measured": measured,
        "why": f"{why}: {event.text}" if event.text else why,
    }


def standing_findings(desk: Desk) -> tuple[list[dict[str, Any]], bool]:
    """Results of the latest calibration that no event has undone, and whether they were set.

    A span whose growth an event undid still knows its scale, and the other way round: what an
    event undid is taken out of the result.
    """
    calibration = desk.latest_calibration()
    if calibration is None:
        return [], False
    events = desk.store.events(desk.row.id)
    results = []
    for trial in desk.store.trials(calibration):
        if trial.outcome == "done" and trial.kind != "proof" and trial.result:
            later = [e for e in events if trial.ended_at and e.at > trial.ended_at]
            gone = {group for event in later for group in EVENTS[event.kind].undoes}
            results.append(_without(trial.result, gone))
    changes = desk.store.changes(calibration)
    return results, any(c.stands and c.kind == "set" and c.proposal_ids for c in changes)


def _without(result: dict[str, Any], gone: set[str]) -> dict[str, Any]:
    """A result less the quantities that belong to groups undone since."""
    of = {
        "printed_scale": "axes",
        "growth": "growth",
        "clearance": "fit",
        "clearance_loose": "fit",
        "flow": "bead",
    }
    kept = [q for q in result["quantities"] if of.get(q["name"]) not in gone]
    return {**result, "quantities": kept}
