"""The record as it stands on paper: sections of finished text, in a certificate's order.

From the document alone, so that a record kept as JSON prints the same a year later.
The parts about the work stand in `sheet_trials`, `sheet_findings` and `sheet_changes`;
`typeset` makes a PDF of it.
"""

from __future__ import annotations

from typing import Any

from asleft.record.blocks import Block, facts, heading, points, raw, says, section, table
from asleft.record.figures import UNKNOWN, alike, setting_unit, time, with_unit
from asleft.record.names import STANDING, named, named_all
from asleft.record.sheet_changes import changes, proof
from asleft.record.sheet_findings import verdicts
from asleft.record.sheet_trials import budgets, readings, set_aside

# What a reader must know of a drive whose motors carry more than one axis.
SHARED = {
    "crossed-belt": "X and Y share both motors: their steps per mm are one value, set together.",
    "delta": "X, Y and Z share three motors: their steps per mm are one value, set together."
    " L is the length of the arms, R the radius; after a change of these home the machine, set the"
    " height and look at the level again.",
}
NO_CONDITIONS = [("conditions", "none were noted, the temperature of the room neither")]


def sheet(document: dict[str, Any]) -> dict[str, Any]:
    """The record's sections, in order.

    Args:
        document: `asleft.record/1`.

    Returns:
        `title`, `machine`, `number`, `date` (ISO, of closing or opening) and `sections`.
    """
    frame = document["calibration"]
    return {
        "title": "Record of a calibration",
        "machine": document["machine"]["name"],
        "number": str(frame["id"]),
        "date": (frame["closed_at"] or frame["opened_at"])[:10],
        "sections": [
            section("Result", *_result(document)),
            section("Machine", _machine(document)),
            section("Instruments", *_instruments(document)),
            section("As found", *_state(document["as_found"], "No settings were kept.")),
            section("Readings", *readings(document)),
            section("Set aside", set_aside(document)),
            section("Uncertainty budget", *budgets(document)),
            section("Findings and verdicts", *verdicts(document)),
            section("Changes", *changes(document)),
            section("Proof", *proof(document)),
            section("As left", *_left(document)),
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
        blocks.append(says(f"Second piece: {proved['reason']}."))
    if proved["power_cycle"]:
        kept = "outlasted" if proved["power_cycle"]["survived"] else "did NOT outlast"
        blocks.append(says(f"The settings {kept} power off and on."))
    tolerances = [
        text
        for trial in document["trials"]
        if (text := _tolerance(trial["parameters"].get("basis", {}).get("tolerance")))
    ]
    if tolerances:
        blocks.append(says(f"Errors within {tolerances[-1]} are left alone."))
    return blocks or [says("Nothing was found and left yet.")]


def _tolerance(tolerance: dict[str, float] | None) -> str:
    """The tolerances that decided, in words; empty where none is known."""
    if not tolerance:
        return ""
    parts = [
        f"{name} {100 * tolerance[name]:g}\u00a0%"
        for name in ("scale", "feed", "bead")
        if name in tolerance
    ]
    if "shear" in tolerance:
        parts.append(f"shear {1e3 * tolerance['shear']:g}\u00a0mrad")
    return ", ".join(parts)


def _machine(document: dict[str, Any]) -> Block:
    machine, frame = document["machine"], document["calibration"]
    described = [
        named(key, value)
        for key, value in machine["description"].items()
        if key != "name" and value is not None
    ]
    rows = [
        ("name", machine["name"]),
        ("answers as", machine["fingerprint"] or UNKNOWN),
        *described,
        ("calibration", f"no. {frame['id']}, by {frame['person'] or 'a person not named'}"),
        ("opened", time(frame["opened_at"])),
        ("closed", time(frame["closed_at"]) if frame["closed_at"] else "still open"),
        *([named(key, value) for key, value in document["conditions"].items()] or NO_CONDITIONS),
        *[("making", _making(each)) for each in document["makings"]],
        *[
            ("event", f"{time(each['at'])}: {each['kind']} {each['text']}".strip())
            for each in document["events"]
        ],
    ]
    return facts(rows)


def _making(making: dict[str, Any]) -> str:
    parts = [named(key, value) for key, value in making.items() if value is not None]
    return "; ".join(shown if name == "name" else f"{name} {shown}" for name, shown in parts)


def _instruments(document: dict[str, Any]) -> list[Block]:
    if not document["instruments"]:
        return [says("No instrument was used.")]
    blocks: list[Block] = []
    for each in document["instruments"]:
        about = [
            named(key, value)
            for key, value in each["description"].items()
            if value is not None and key not in ("name", "check")
        ]
        checks = [(_check(check)) for check in each["checks"]]
        if own := each["description"].get("check"):
            checks.append(_check(own))
        blocks.append(
            facts(
                [
                    ("name", each["name"] or "not named"),
                    *about,
                    *[("check on a known length", check) for check in checks or ["none"]],
                ]
            )
        )
    return blocks


def _check(check: dict[str, Any]) -> str:
    parts = [f"{name} {shown}" for name, shown in named_all(check) if name != "at"]
    when = f"{time(check['at'])}: " if check.get("at") else ""
    return when + ", ".join(parts)


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
    """Every named value as found and as left, and by how much it was changed."""
    before, after = settings(found["parsed"]), settings(left["parsed"])
    rows = []
    for name in {**before, **after}:
        old, new = before.get(name), after.get(name)
        unit = setting_unit("", name)
        moved = UNKNOWN
        if old is not None and new is not None:
            relative = unit == "steps/mm" and old != 0
            moved = "none" if old == new else with_unit(new - old, unit, 5, sign=True)
            if relative and old != new:
                moved = with_unit(100 * (new / old - 1), "%", 3, sign=True)
        rows.append([name, *alike((old, new), unit), moved])
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
        f"{each['path']}, lines {each['first_line']} to {each['last_line']}"
        for each in document["wire_log"]
    ]
    kept = ", ".join(f"no. {each['kept']}" for each in document["kept_states"])
    return facts(
        [
            ("measured with", _joined(versions["opened"])),
            ("written with", _joined(versions["written"])),
            ("schema", document["schema"]),
            ("kept states", kept or "none"),
            *[("wire log", each) for each in logs or ["none"]],
            ("SHA-256 of the readings", document["readings_sha256"]),
        ]
    )


def _joined(versions: dict[str, Any]) -> str:
    return ", ".join(f"{name} {value}" for name, value in versions.items()) or UNKNOWN
