"""The record as it stands on paper: sections of finished text, in a certificate's order.

From the document alone, so that a record kept as JSON prints the same a year later.
The parts about the work stand in `sheet_trials`, `sheet_findings` and `sheet_changes`;
`typeset` makes a PDF of it.
"""

from __future__ import annotations

from typing import Any

from asleft.record.blocks import Block, facts, heading, points, raw, says, section, table
from asleft.record.figures import UNKNOWN, alike, setting_unit, time, with_unit
from asleft.record.names import STANDING, readable, title, word
from asleft.record.sheet_changes import changes, proof
from asleft.record.sheet_findings import verdicts
from asleft.record.sheet_frame import circumstances, instruments, machine
from asleft.record.sheet_methods import methods
from asleft.record.sheet_trials import budgets, readings, set_aside
from asleft.record.sheet_years import years
from asleft.units import is_tool_axis

ALWAYS = ("X", "Y", "Z", "XY", "XZ", "YZ", "L", "R")

# What a reader must know of a drive whose motors carry more than one axis.
SHARED = {
    "crossed-belt": "X and Y share both motors: their steps per mm are one value, set together.",
    "delta": "X, Y and Z share three motors: their steps per mm are one value, set together."
    " L is the length of the arms, R the radius; after a change of these home the machine, set the"
    " height and look at the level again.",
}


def sheet(document: dict[str, Any]) -> dict[str, Any]:
    """The record's sections, in order.

    Args:
        document: `asleft.record/1`.

    Returns:
        `title`, `machine`, `number`, `date` (ISO, of closing or opening), `mark` (by which the
        JSON that a page belongs to is told), `end` and `sections`.
    """
    frame, whole = document["calibration"], document.get("record_sha256")
    return {
        "title": "Record of a calibration",
        "machine": document["machine"]["name"],
        "number": str(frame["id"]),
        "date": (frame["closed_at"] or frame["opened_at"])[:10],
        "mark": whole[:12] if whole else "",
        "end": f"End of the record of calibration no. {frame['id']}. Hand it on whole.",
        "sections": [
            section("Result", *_result(document)),
            section("Machine", machine(document)),
            section("Circumstances", *circumstances(document)),
            section("Methods and decision rule", *methods(document)),
            section("Instruments", *instruments(document)),
            section("As found", *_state(document["as_found"], "No settings were kept.")),
            section("Readings", *readings(document)),
            section("Set aside", set_aside(document)),
            section("Uncertainty budget", *budgets(document)),
            section("Findings and verdicts", *verdicts(document)),
            section("Changes", *changes(document)),
            section("Proof", *proof(document)),
            section("As left", *_left(document)),
            section("The machine's years", *years(document)),
            section("Cautions", points(document["cautions"])),
            section("Versions and evidence", _versions(document)),
        ],
    }


def _result(document: dict[str, Any]) -> list[Block]:
    """What came of it, for a reader in a hurry: found and left, proof, what was tolerated."""
    found, left = document["as_found"], document["as_left"]
    blocks = [_compared(found, left)] if found and left else []
    if shared := SHARED.get(str(document["machine"]["description"].get("drive"))):
        blocks.append(says(shared))
    proved = document["proof"]
    if proved["chi2"] is not None:
        blocks.append(says(f"Second piece: {proved['reason'].rstrip('.')}."))
    if proved["power_cycle"]:
        kept = "outlasted" if proved["power_cycle"]["survived"] else "did NOT outlast"
        blocks.append(says(f"The settings {kept} power off and on."))
    open_ends = [
        f"{title(trial)}: {word(trial['outcome'])}."
        for trial in document["trials"]
        if trial["outcome"] != "done"
    ]
    blocks += [says(" ".join(open_ends))] if open_ends else []
    if document["calibration"]["closed_at"] is None:
        blocks.append(says("The calibration is still open: more may be added."))
    return blocks or [says("Nothing was found and left.")]


def _state(kept: dict[str, Any] | None, otherwise: str) -> list[Block]:
    if kept is None:
        return [says(otherwise)]
    return [
        facts(
            [
                ("kept state", f"no. {kept['kept']}, {STANDING[kept['standing']]}"),
                ("read", f"{time(kept['at'])}, {kept['reason']}"),
            ]
        ),
        heading("The report, as it was read"),
        raw(kept["raw"]),
    ]


def _left(document: dict[str, Any]) -> list[Block]:
    found, left = document["as_found"], document["as_left"]
    if left is None:
        return [says(f"Not known: {document['as_left_reason']}.")]
    why = document["as_left_reason"]
    state = _state(left, "")
    if found and left["raw"] == found["raw"]:
        state = [state[0], says("The report is the same, line by line, as the one found.")]
    return [says(f"As found: {why}.")] * bool(why) + state


def _compared(found: dict[str, Any], left: dict[str, Any]) -> Block:
    """The values that are calibrated, and all others that were changed: found, left, by how much.

    What else the report holds and nobody changed stands in the report itself.
    """
    before, after = settings(found["parsed"]), settings(left["parsed"])
    rows = []
    for name in {**before, **after}:
        old, new = before.get(name), after.get(name)
        if old == new and name not in ALWAYS and not is_tool_axis(name):
            continue
        unit = setting_unit("", name)
        moved = UNKNOWN
        if old is not None and new is not None:
            relative = unit == "steps/mm" and old != 0
            moved = "none" if old == new else with_unit(new - old, unit, 5, sign=True)
            if relative and old != new:
                moved = with_unit(100 * (new / old - 1), "%", 3, sign=True)
        rows.append([readable(name), *alike((old, new), unit), moved])
    columns = [("setting", "left"), ("as found", "right"), ("as left", "right")]
    return table([*columns, ("changed by", "right")], rows)  # type: ignore[list-item]


def settings(parsed: dict[str, Any]) -> dict[str, float | None]:
    """The named values of a settings report: axes and tools, skew planes, delta's L and R."""
    found: dict[str, float | None] = {}
    for part in ("steps_per_mm", "skew", "delta"):
        found |= parsed.get(part) or {}
    return {name: value for name, value in found.items() if isinstance(value, (int, float))}


def _versions(document: dict[str, Any]) -> Block:
    versions = document["versions"]
    logs = [
        f"{each['path'].rsplit('/', 1)[-1]}, lines {each['first_line']} to {each['last_line']}"
        for each in document["wire_log"]
    ]
    whole = document.get("record_sha256")
    kept = ", ".join(f"no. {each['kept']}" for each in document["kept_states"])
    return facts(
        [
            ("measured with", _joined(versions["opened"])),
            ("written with", _joined(versions["written"])),
            ("schema", document["schema"]),
            ("kept states", kept or "none"),
            *[("wire log", each) for each in logs or ["none"]],
            ("SHA-256 of the readings", document["readings_sha256"]),
            ("SHA-256 of the record", whole or "none: it is older than this digest"),
        ],
        leads=True,
    )


def _joined(versions: dict[str, Any]) -> str:
    return ", ".join(f"{name} {value}" for name, value in versions.items()) or UNKNOWN
