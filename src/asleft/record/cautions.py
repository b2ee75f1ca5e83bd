"""What the reader of a record must know before relying on it.

Made from the record itself, so that a caution stands where its reason is and not otherwise.
Cautions for the work itself stand at the steps of the trials.
"""

from __future__ import annotations

from typing import Any

ALWAYS = (
    "The findings hold for this machine as left, for the makings named, and within the stated"
    " uncertainties. A new extruder, nozzle, filament, belt, pulley, hot end or firmware undoes"
    " those that it touches: measure them again.",
    "Hot parts burn, moving parts pinch, melting plastic gives off fumes, and a printer is mains"
    " equipment. The machine's manual and local rules come first; mains wiring is for a licensed"
    " electrician. Never leave a heated machine unwatched.",
)


def cautions(document: dict[str, Any]) -> list[str]:
    """The cautions that a record needs, the particular ones first.

    Args:
        document: a record without its cautions.
    """
    return [
        *_about_changes(document),
        *_about_findings(document),
        *_about_proof(document["proof"], changed=bool(_standing(document))),
        *ALWAYS,
    ]


def _standing(document: dict[str, Any]) -> list[dict[str, Any]]:
    return [change for change in document["changes"] if change["stands"]]


def _about_changes(document: dict[str, Any]) -> list[str]:
    found = []
    for change in _standing(document):
        states = {mark["state"] for mark in change["marks"]}
        if "handed_over" in states and "read_back" not in states:
            found.append(
                f"Change {change['id']} was handed over as lines to enter; no report has shown yet"
                " that the machine holds it."
            )
        elif "handed_over" not in states and not _stored_since(document, change):
            found.append(
                f"Change {change['id']} is in force but not stored: it is lost when power goes off."
            )
    confirmed = max((change["id"] for change in _standing(document)), default=0)
    for change in document["changes"]:  # whatever was read back later was compared as a whole
        if change["state"] in ("started", "sent", "failed") and change["id"] > confirmed:
            found.append(
                f"Change {change['id']} was begun and never confirmed by reading back; read the"
                " machine's settings before relying on them."
            )
    if document["as_left"] is None:
        found.append(f"The state as left is not known: {document['as_left_reason']}.")
    return found


def _stored_since(document: dict[str, Any], change: dict[str, Any]) -> bool:
    """Whether it was stored with itself or with a later change: storing keeps all that is live."""
    return any(
        mark["state"] == "stored"
        for later in document["changes"]
        if later["id"] >= change["id"]
        for mark in later["marks"]
    )


def _about_findings(document: dict[str, Any]) -> list[str]:
    found = [
        f"Trial {trial['id']} ({trial['kind']}): {warning}"
        for trial in document["trials"]
        for warning in trial["warnings"]
    ]
    provisional = [f"{each['axis']}" for each in document["proposals"] if each.get("provisional")]
    if provisional:
        found.append(
            "Provisional, to be measured again after the change: " + ", ".join(provisional) + "."
        )
    open_trials = [each for each in document["trials"] if each["outcome"] == "unfinished"]
    found += [f"Trial {each['id']} ({each['kind']}) is unfinished." for each in open_trials]
    return found


def _about_proof(proof: dict[str, Any], *, changed: bool) -> list[str]:
    found = []
    if changed and proof["chi2"] is None:
        found.append("No second piece has proved the change.")
    if changed and proof["power_cycle"] is None:
        found.append("It has not been shown that the settings outlast a power cycle.")
    elif proof["power_cycle"] and not proof["power_cycle"]["survived"]:
        found.append("The settings did not outlast a power cycle.")
    return found
