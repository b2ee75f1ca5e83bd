"""Reading and keeping what a machine holds: over the line, from pasted text, from typed values.

What was found first in a calibration is what `undo` and `restore` can always go back to.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from asleft.bench.change.waiting import settle
from asleft.bench.desk import Desk, Standing
from asleft.controller import (
    Difference,
    SettingsReport,
    difference,
    parse_report,
    typed_report,
)
from asleft.errors import InputError, MachineError
from asleft.units import LINEAR_AXES, is_tool_axis


def read_and_keep(desk: Desk, reason: str, *, whole: bool = True) -> tuple[SettingsReport, int]:
    """Read the settings in force over the line and file them; the report and its number.

    With `whole`, a machine that does not tell its steps gives the last ones typed or pasted.

    Raises:
        MachineError: the report stays incomplete, and `whole` asks for a complete one: nothing
            may be changed or estimated on half of it. What was read is kept all the same.
    """
    machine = desk.connect()
    # Who only asks what it holds takes a restart as it is; work under way is told of it.
    restarted = not whole and bool(machine.restarted(within_s=0.0))
    report = machine.read_settings()
    first = desk.open_calibration() is None
    restarted = restarted or (machine.facts.restarted_on_opening and first)
    standing: Standing = "after_reset" if restarted else "in_force"
    kept = desk.keep(report, "as found" if first else reason, standing)
    if report.steps_untold and whole:
        return _told_by_hand(desk, report)
    if whole and not report.complete:
        raise MachineError(
            f"the settings report is not complete: {report.reason}",
            hint="Ask again with `asleft found`; if it stays so, work with a pasted report.",
            where=machine.facts.address,
        )
    if not report.steps_untold:
        settle(desk, report, standing)
    return report, kept


def _told_by_hand(desk: Desk, report: SettingsReport) -> tuple[SettingsReport, int]:
    """The last values that a person gave for a machine that does not tell its steps.

    Raises:
        MachineError: none were given.
    """
    for kept in reversed(desk.store.kept_states(desk.row.id)):
        if kept.standing in ("typed", "pasted"):
            return parse_report(kept.raw), kept.id
    raise MachineError(
        report.reason or "the machine does not tell its steps per mm",
        hint="Look into that file and give them once: `asleft found --steps X=…,Y=…,Z=…,E=…`.",
        where=desk.connect().facts.address,
    )


def found(desk: Desk) -> dict[str, Any]:
    """Read and keep over the line; returns `asleft.found/1`."""
    report, kept = read_and_keep(desk, "read again", whole=False)
    return _told(desk, report, kept, storage=desk.connect().storage)


def found_in_text(desk: Desk, text: str, *, source: str) -> dict[str, Any]:
    """Keep a pasted settings report; returns `asleft.found/1`."""
    report = parse_report(text)
    if not any(value is not None for value in report.steps_per_mm.values()):
        raise InputError(
            "no line with steps per mm (M92) is in this text",
            hint="Paste the whole answer to M503, or type the values with --steps.",
            where=source,
        )
    kept = desk.keep(report, f"pasted from {source}", "pasted")
    settle(desk, report, "pasted")
    return _told(desk, report, kept, storage="unknown", in_part=True)


def found_typed(desk: Desk, steps: Mapping[str, float]) -> dict[str, Any]:
    """Keep typed steps per mm; returns `asleft.found/1`."""
    for axis, value in steps.items():
        if not (axis in LINEAR_AXES or is_tool_axis(axis)) or not value > 0:
            raise InputError(
                f"{axis}={value:g} is no steps per mm",
                hint="Name X, Y, Z, E (or E0, E1) with a value above 0.",
                where="--steps",
            )
    report = typed_report(steps)
    missing = _left_out(desk, report)
    kept = desk.keep(report, "typed", "typed")
    settle(desk, report, "typed")
    told = _told(desk, report, kept, storage="unknown", in_part=True)
    told["warnings"] += missing
    return told


def _left_out(desk: Desk, report: SettingsReport) -> list[str]:
    """What an earlier kept state holds and these typed steps do not: a typed state is complete."""
    given = {name for name, value in report.steps_per_mm.items() if value is not None}
    before = set[str]()
    for kept in desk.store.kept_states(desk.row.id):
        steps = kept.parsed.get("steps_per_mm") or {}
        before |= {name for name, value in steps.items() if value is not None}
    if any(map(is_tool_axis, given)):
        before = {name for name in before if not is_tool_axis(name)}
    left_out = [name for name in (*LINEAR_AXES, *sorted(before)) if name in before - given]
    names = ", ".join(dict.fromkeys(left_out))
    if not names:
        return []
    return [
        f"this newest state does not hold {names}: unknown from now on, since nobody says that the"
        f" earlier values still stand. Give all at once: --steps NAME=VALUE,… with {names} as well"
    ]


def named_values(report: SettingsReport) -> dict[str, float]:
    """What can be set, by the names of the command line: `X`, `E0`, `XY`, `L`."""
    return {name: each.value for name, each in report.named.items()}


def stored_differences(desk: Desk, report: SettingsReport) -> list[Difference] | None:
    """What is in force otherwise than in storage, or None where storage was never seen."""
    seen = [
        kept
        for kept in desk.store.kept_states(desk.row.id)
        if kept.standing in ("after_reset", "from_storage")
    ]
    if not seen:
        return None
    return difference(parse_report(seen[-1].raw), report)


def _not_understood(lines: Sequence[str]) -> str:
    """How many lines nobody here understands, and the first three of them."""
    shown = "; ".join(line.strip() for line in lines[:3])
    more = f"; and {len(lines) - 3} more" if len(lines) > 3 else ""
    if len(lines) == 1:
        return f"1 line is not understood and kept as it stands: {shown}"
    return f"{len(lines)} lines are not understood and kept as they stand: {shown}{more}"


def _told(
    desk: Desk, report: SettingsReport, kept: int, *, storage: str, in_part: bool = False
) -> dict[str, Any]:
    """As `asleft.found/1`; a state typed or pasted `in_part` is silent on what it leaves out."""
    told = report.to_dict()
    differs = stored_differences(desk, report)
    warnings = list(told.get("warnings", []))
    if in_part and differs:
        left_out = sum(each.after is None for each in differs)
        differs = [each for each in differs if each.after is not None]
        if left_out:
            warnings.append(f"{left_out} of the values seen in storage before are not in it")
    if report.unknown:
        warnings.append(_not_understood(report.unknown))
    if differs is None and storage != "no":
        warnings.append("what the machine's storage holds was not seen yet")
    return {
        "schema": "asleft.found/1",
        "machine": desk.row.name,
        "kept": kept,
        "complete": report.complete,
        "reason": report.reason,
        "steps_per_mm": told["steps_per_mm"],
        "skew": told["skew"],
        "delta": told["delta"],
        "storage": storage,
        "settings": told["settings"],
        "raw": report.raw,
        "differs_from_stored": [str(each) for each in differs or ()],
        "warnings": warnings,
    }
