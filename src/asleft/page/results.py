"""The sheets behind the readings: finding, change and prove, take away.

Everything on them comes from the machine's last calibration as the record tells it. Stands on
`bench`; the words are those of `saying`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from asleft.errors import AsleftError
from asleft.page import saying
from asleft.page.doing import TITLES
from asleft.page.house import House
from asleft.page.strip import status
from asleft.units import parse_typed

Asked = Mapping[str, str]


def part_told(part: str, told: Mapping[str, Any]) -> str:
    """What one part of an evening came to, in a sentence."""
    title = TITLES.get(part, part)
    if told["schema"] == "asleft.found/1":
        return f"{title}: kept as state {told['kept']}"
    if told["schema"] == "asleft.trial/1":
        return f"{title}: {len(told['readings'])} readings, {told['outcome'].replace('_', ' ')}"
    if told.get("survived_power_cycle") is not None:
        held = "survived" if told["survived_power_cycle"] else "did not survive"
        return f"{title}: the settings {held}"
    if told.get("predicted"):
        inside = "came out as foretold" if told["verified"] else "did not come out as foretold"
        return f"{title}: it {inside}"
    if told.get("handed_over"):
        proving = told["schema"] == "asleft.prove/1"
        waits = "what was entered by hand waits for a fresh report and a piece"
        return f"{title}: {waits if proving else 'handed over, to enter by hand'}"
    stored = {True: ", stored", False: ", not stored", None: ""}[told.get("stored")]
    return f"{title}: {'read back as sent' if told['verified'] else 'not verified'}{stored}"


def parts_told(done: Mapping[str, Mapping[str, Any]]) -> list[dict[str, Any]]:
    """What the parts of a job came to, in order: a sentence, and the findings of a trial.

    What was found and then set is told in the past.
    """
    sets = [n for n, told in enumerate(done.values()) if told["schema"] == "asleft.set/1"]
    return [
        {"text": part_told(part, told), "found": _found_in(told, past=n < max(sets, default=-1))}
        for n, (part, told) in enumerate(done.items())
    ]


def _found_in(told: Mapping[str, Any], *, past: bool) -> list[dict[str, str]]:
    """The findings of a trial as it ended: a sentence and its number each."""
    result = told.get("result") or {} if told["schema"] == "asleft.trial/1" else {}
    quantities = result.get("quantities", ())
    return [
        {
            "text": saying.finding(p, quantities, past=past and p["place"] == "controller"),
            "figure": saying.figure_of(p, quantities),
        }
        for p in result.get("proposals", ())
    ]


def finding(house: House, machine: str, _asked: Asked) -> dict[str, Any]:
    """What the trials found, each in a sentence, with its numbers behind it."""
    document, common = _record(house, machine)
    found: list[dict[str, Any]] = []
    for trial in _shown(document) if document else ():
        again = any(each["kind"] == trial["kind"] for each in found)
        told = _found(trial, document or {})
        found.append(told | ({"title": f"{told['title']}, after the change"} if again else {}))
    return {**common, "found": found}


def _shown(document: Mapping[str, Any]) -> list[dict[str, Any]]:
    """Of each kind the last trial, and before it those whose findings were set."""
    shown: list[dict[str, Any]] = []
    for trial in document["trials"]:
        if trial["outcome"] not in ("done", "no_estimate") or trial["kind"] == "proof":
            continue
        same = [each for each in shown if each["kind"] == trial["kind"]]
        changes = document["proposals"], document["changes"]
        if same and not saying.changes_since(same[-1]["id"], *changes):
            shown.remove(same[-1])
        shown.append(trial)
    return shown


def _found(trial: Mapping[str, Any], document: Mapping[str, Any]) -> dict[str, Any]:
    from asleft.bench.pictures import figures_of

    since = saying.changes_since(trial["id"], document["proposals"], document["changes"])
    return {
        "kind": trial["kind"],
        "title": TITLES.get(trial["kind"], trial["kind"]),
        "sentences": [
            {
                "text": saying.finding(
                    p, trial["quantities"], past=(p["setting"], p["axis"]) in since
                ),
                "figure": saying.figure_of(p, trial["quantities"]),
                "why": p["reason"],
                "verdict": p["verdict"],
                "since": since.get((p["setting"], p["axis"])),
            }
            for p in trial["proposals"]
        ],
        "rows": [saying.quantity_row(q) for q in trial["quantities"]],
        "budget": [saying.budget_row(line, trial["quantities"]) for line in trial["budget"]],
        "set_aside": [saying.set_aside(r) for r in trial["readings"] if r["why_not"]],
        "warnings": trial["warnings"],
        "reason": trial["reason"],
        "figures": figures_of(trial, document),
    }


def change(house: House, machine: str, _asked: Asked) -> dict[str, Any]:
    """Before and after, sent and read back, stored, off and on, the second piece."""
    from asleft.bench.pictures import proof_figure

    document, common = _record(house, machine)
    with house.look() as bench:
        has_line = house.has_line(bench.machine(machine))
    proof = (document or {}).get("proof") or {}
    return {
        **common,
        "has_line": has_line,
        "proposals": [
            saying.change_row(p)
            for p in (document or {}).get("proposals", ())
            if p["stands"] and p["verdict"] == "adjust" and p["place"] == "controller"
        ],
        "changes": _changes_told((document or {}).get("changes", ())),
        "proof": proof,
        "proof_said": re.sub(r" \(p = [^)]*\)", "", str(proof.get("reason") or "")),
        "figure_of_proof": proof_figure(proof.get("faces") or ()),
        "power": proof.get("power_cycle"),
        "has_span": any(
            t["kind"] == "span" and t["outcome"] == "done"
            for t in (document or {}).get("trials", ())
        ),
    }


def _changes_told(changes: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Every change in its order; storing stores also what was only read back before."""
    told = [_change_told(each) for each in changes]
    for number, each in enumerate(changes):
        later = changes[number + 1 :]
        stored = any(one["state"] in ("stored", "power_cycled") for one in later)
        overwritten = any(_axes(each) & _axes(one) for one in later)
        if each["state"] == "read_back" and stored and not overwritten:
            told[number]["state"] += "; stored with what came after it"
    return told


def _axes(change: Mapping[str, Any]) -> set[str]:
    return {each["axis"] for each in change["settings"]}


def _change_told(change: Mapping[str, Any]) -> dict[str, Any]:
    """A change as rows: name, before, wished; what was sent, and how it stands."""
    lines = [line for mark in change["marks"] for line in mark["details"].get("lines", ()) or ()]
    return {
        "kind": change["kind"],
        "at": saying.day(change["at"]),
        "state": saying.state(change),
        "settings": change["settings"],
        "lines": lines,
        "handed_over": change["state"] == "handed_over",
    }


def take(house: House, machine: str, asked: Asked) -> dict[str, Any]:
    """What to enter in the slicing profile, what to draw, the record, and the way back."""
    document, common = _record(house, machine)
    allowed, refused = _allowed(house, machine, asked)
    making = [
        {"text": p["reason"], "said": saying.to_enter(p)}
        for p in (document or {}).get("proposals", ())
        if p["place"] == "making" and p["withdrawn"] is None and p["verdict"] == "adjust"
    ]
    return {
        **common,
        "document": document,
        "opened": saying.day(document["calibration"]["opened_at"]) if document else None,
        "closed": bool(document and document["calibration"]["closed_at"]),
        "making": making,
        "kept": [
            {"kept": k["kept"], "at": saying.day(k["at"]), "reason": k["reason"]}
            for k in (document or {}).get("kept_states", ())
        ],
        "asked": asked,
        "allowed": allowed,
        "refused": refused,
    }


def _allowed(house: House, machine: str, asked: Asked) -> tuple[dict[str, Any] | None, str | None]:
    """What to draw for the size asked for, or why that cannot be said."""
    from asleft.bench.taking_away import allowance

    if not asked.get("size", "").strip() or asked.get("kind") not in ("hole", "shaft", "length"):
        return None, None
    try:
        size = parse_typed(asked["size"], where="size").value
        clearance = asked.get("clearance", "").strip()
        wanted = parse_typed(clearance, where="clearance").value if clearance else None
        with house.look(machine) as bench:
            return allowance(bench, asked["kind"], size, wanted), None  # type: ignore[arg-type]
    except AsleftError as error:
        return None, f"{error.message}. {error.hint or ''}"


def _record(house: House, machine: str) -> tuple[dict[str, Any] | None, dict[str, Any]]:
    """The record of the last calibration, or None, and what every sheet of a machine shows."""
    with house.look(machine) as bench:
        number = bench.last_calibration()
        document = None if number is None else bench.record(number, close=False, whole=False)
    return document, {"machine": machine, "status": status(house.worker(machine))}
