"""What was found, in the words of a person at a workbench: one sentence a finding.

Verdicts and numbers are those of the estimate; here they only get words, a unit and an interval.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from typing import Any

NAMES = {
    "printed_scale": "printed scale",
    "motion_scale": "scale of motion",
    "first_layer": "first layer",
    "caliper_zero": "zero of the caliper",
    "fed_ratio": "fed of what was commanded",
    "slip_rate": "slips from",
    "clearance": "begins to turn at",
    "clearance_loose": "begins to be loose at",
    "growth": "growth of walls",
}
SETTINGS = {
    "steps_per_mm": "{axis}",
    "skew": "squareness {axis}",
    "growth": "growth of the walls",
    "flow": "flow",
    "clearance": "clearance",
    "arm_length": "arm length",
    "radius": "radius",
    "reversal": "slack {axis}",
}
_MEASURED = {
    "steps_per_mm": ("fed_ratio", "motion_scale", "printed_scale"),
    "skew": ("shear",),
    "growth": ("growth",),
    "flow": ("flow",),
    "clearance": ("clearance",),
    "reversal": ("reversal",),
}
UNITS = {"steps_per_mm": "steps/mm", "skew": "mm/mm", "flow": "of the flow"}
_VERDICTS = {
    "leave": "{name} is right",
    "adjust": "{name} should be changed",
    "inspect": "{name}: look at the hardware first",
    "measure_more": "{name} is not decided yet: the readings cannot tell",
}

_PAST = ((" comes out ", " came out "), (" feeds ", " fed "), (" is ", " was "))
_STATES = {
    "sent": "sent, not read back yet",
    "read_back": "read back",
    "stored": "read back and stored",
    "not_stored": "read back, not stored",
    "power_cycled": "stored; it outlasted power off and on",
    "handed_over": "handed over to be entered by hand",
    "failed": "sent, but it did not read back as wished",
    "undone": "put back since",
}


def finding(
    proposal: Mapping[str, Any], quantities: Iterable[Mapping[str, Any]], *, past: bool = False
) -> str:
    """One finding as a sentence, without its full stop; in the past where it was mended since."""
    axis = str(proposal.get("axis") or "")
    name = SETTINGS.get(proposal["setting"], proposal["setting"].replace("_", " "))
    name = name.format(axis="the extruder" if axis.startswith("E") else axis).strip()
    if proposal["setting"] == "growth" and proposal["proposed"] is not None:
        value = proposal["proposed"]
        fat = "fat" if value > 0 else "thin"
        if proposal["verdict"] == "adjust":
            return f"Walls are {abs(value):.2f} mm {fat}"
    error = _error_of(axis, quantities) if proposal["verdict"] == "adjust" else None
    if error and past:
        for now, then in _PAST:
            error = error.replace(now, then)
    text = error or _VERDICTS.get(proposal["verdict"], "{name}").format(name=name)
    return text[:1].upper() + text[1:]


def figure_of(proposal: Mapping[str, Any], quantities: Iterable[Mapping[str, Any]]) -> str:
    """The number behind a finding with its unit and interval; nothing where there is none."""
    names = _MEASURED.get(proposal["setting"], ())
    for each in quantities:
        where = each.get("axis") or each.get("plane")
        if (
            each["name"] in names
            and where in (None, proposal["axis"])
            and each["value"] is not None
        ):
            row = quantity_row(each)
            held = "" if each["low95"] is None else f" ({row['why']}, 95 times of 100)"
            told = f"{row['name'][:1].upper()}{row['name'][1:]}: {row['value']}{held}"
            return told.replace(" %", "\u00a0%")
    return ""


def _error_of(axis: str, quantities: Iterable[Mapping[str, Any]]) -> str | None:
    """What is wrong with an axis, in per cent or mrad."""
    for quantity in quantities:
        if axis not in (quantity.get("axis"), quantity.get("plane")) or quantity["value"] is None:
            continue
        value = quantity["value"]
        if quantity["name"] in ("printed_scale", "motion_scale"):
            way = "large" if value > 0 else "small"
            return f"{axis} comes out {abs(value):.2%} too {way}".replace("%", " %")
        if quantity["name"] == "fed_ratio":
            way = "much" if value > 1 else "little"
            return f"the extruder feeds {abs(value - 1):.1%} too {way}".replace("%", " %")
        if quantity["name"] == "shear":
            return f"{axis} is {abs(value) * 1000:.2f} mrad out of square"
    return None


def quantity_row(quantity: Mapping[str, Any]) -> dict[str, str]:
    """A quantity as the cells of a table: name, value and interval with their unit."""
    name = NAMES.get(quantity["name"], quantity["name"].replace("_", " "))
    where = quantity.get("axis") or quantity.get("plane") or ""
    if quantity["value"] is None:
        return {"name": f"{name} {where}", "value": "not known", "why": quantity["reason"] or ""}
    factor, unit = _unit(quantity)
    digits = _digits(quantity["u"], factor)
    ends = [quantity["low95"], quantity["high95"]]

    def number(value: float) -> str:
        return f"{value * factor:.{digits}f}".replace("-", "\u2212")

    interval = "" if None in ends else f"{number(ends[0])} to {number(ends[1])}"
    return {
        "name": f"{name} {where}".strip(),
        "value": f"{number(quantity['value'])} {unit}",
        "why": f"{interval} {unit}" if interval else (quantity["reason"] or "interval not known"),
    }


def change_row(proposal: Mapping[str, Any]) -> dict[str, str]:
    """A proposal as the cells of a table: what, in force, proposed, unit with each."""
    unit = UNITS.get(proposal["setting"], "mm")
    digits = _digits(proposal["u"], 1.0)

    def cell(value: float | None) -> str:
        return "not known" if value is None else f"{value:.{digits}f} {unit}"

    return {
        "name": SETTINGS.get(proposal["setting"], proposal["setting"]).format(
            axis=proposal["axis"]
        ),
        "in_force": cell(proposal["in_force"]),
        "proposed": cell(proposal["proposed"]),
    }


def _unit(quantity: Mapping[str, Any]) -> tuple[float, str]:
    if quantity["unit"] in ("1", "ratio", "", "mm/mm"):
        return 100.0, "%"
    return (1000.0, "mrad") if quantity["unit"] == "rad" else (1.0, quantity["unit"])


def _digits(u: float | None, factor: float) -> int:
    """Decimals that show two digits of the standard uncertainty, as is usual in a certificate."""
    if u is None or not u > 0 or not math.isfinite(u):
        return 3
    return min(6, max(0, 1 - math.floor(math.log10(u * factor))))


def minutes(total: float) -> str:
    """A time in words: `40 min`, `2 h 06 min`; number and unit stay on one line."""
    whole = round(total)
    text = f"{whole} min" if whole < 60 else f"{whole // 60} h {whole % 60:02d} min"
    return text.replace(" ", "\u00a0")


def seconds(total: float | None) -> str:
    """Seconds left in words; nothing where they are not known."""
    if total is None:
        return ""
    whole = max(0, round(total))
    return f"{whole} s" if whole < 60 else f"{whole // 60} min {whole % 60:02d} s"


def day(stamp: str | None) -> str:
    """A time of the store as a day and hour, UTC as stored."""
    return "never" if not stamp else f"{stamp[:10]} {stamp[11:16]} UTC"


def changes_since(
    trial: int, proposals: Iterable[Mapping[str, Any]], changes: Iterable[Mapping[str, Any]]
) -> dict[tuple[str, str], str]:
    """What was changed on a trial's findings, by setting and axis: from, to, and how it stands."""
    ids = {p["id"] for p in proposals if p["trial"] == trial}
    told: dict[tuple[str, str], str] = {}
    for change in changes:
        if change["kind"] != "set" or not ids & set(change["proposals"]):
            continue
        for each in change["settings"]:
            unit = UNITS.get(each["setting"], "mm")
            before = "not known" if each["before"] is None else f"{each['before']:.8g}"
            how = state(change)
            told[each["setting"], each["axis"]] = (
                f"{each['axis']} {before} → {each['wanted']:.8g} {unit}, {how}"
            )
    return told


def state(change: Mapping[str, Any]) -> str:
    """How a change stands, in words."""
    lost = any(mark["details"].get("survived") is False for mark in change["marks"])
    if change["state"] == "power_cycled" and lost:
        return "stored, but lost when power went off"
    return _STATES.get(change["state"], str(change["state"]).replace("_", " "))


def set_aside(reading: Mapping[str, Any]) -> str:
    """A reading that was not used, by its place, and why."""
    place = reading["place"]
    where = f"Place {place['place']}" if place.get("place") else "A reading"
    if place.get("direction"):
        where += f" ({place['direction']} {place['faces']})"
    return f"{where}, {reading['value']:g} {reading['unit']}: {reading['why_not']}"


def budget_row(line: Mapping[str, Any], quantities: Iterable[Mapping[str, Any]]) -> dict[str, str]:
    """A line of the budget as cells: of what, the input, its type, its part with a unit."""
    name, _, where = str(line["quantity"]).partition(" ")
    same = next((q for q in quantities if q["name"] == name), {"unit": "mm"})
    factor, unit = _unit(same)
    part = line["contribution"]
    return {
        "of": f"{NAMES.get(name, name.replace('_', ' '))} {where}".strip(),
        "input": str(line["input"]).replace("_", " "),
        "kind": str(line["kind"]),
        "part": "not known" if part is None else f"{abs(part) * factor:.2g} {unit}",
    }


def to_enter(proposal: Mapping[str, Any]) -> str:
    """What a slicing profile should get, as a sentence without its full stop."""
    value = proposal["proposed"]
    if proposal["setting"] == "growth" and value:
        way, what = ("large", "take off") if value > 0 else ("small", "add to")
        return (
            f"Outside sizes come out {abs(value):.2f} mm {way}: let the profile {what}"
            f" {abs(value) / 2:.3f} mm at each wall"
        )
    row = change_row(proposal)
    return f"{row['name'][:1].upper()}{row['name'][1:]}: {row['proposed']}"


def question(text: str) -> tuple[str, str]:
    """A step's text as its question and what explains it; values of a table beside it left out."""
    plain = re.sub(r" \([^)]*→[^)]*\)", "", text)
    end = plain.rfind("?") + 1
    return (plain[:end], plain[end:].strip()) if end else (plain, "")


_WAYS = (
    (r"asleft (machine|open)|--machine|--port|--baud", "", "Workshop: describe the machine"),
    (r"asleft found", "before", "Before you start: keep what the machine holds"),
    (r"asleft instrument", "before", "Before you start: the caliper"),
    (r"asleft event", "evening?door=replaced", "This evening: what was replaced, or happened"),
    (r"asleft set|asleft prove|--from-findings", "change", "Change and prove"),
    (r"asleft (undo|restore|record|allow)", "take", "Take away"),
    (r"asleft (history|due)", "history", "History"),
    (r"asleft (trial|piece|solve)|--(temp|gauge|more|anew|inst|read)", "evening", "This evening"),
)


def way_of(text: str | None) -> tuple[str, str] | None:
    """Where on the page is done what a hint for the terminal names: sheet and words, or None."""
    for pattern, sheet, words in _WAYS:
        if text and re.search(pattern, text):
            return sheet, words
    return None


def for_page(text: str) -> str:
    """A sentence that names a terminal command, with the sheet that does it instead.

    Options of a command in brackets are left out.
    """

    def sheet(found: re.Match[str]) -> str:
        way = way_of(found.group(0))
        return f"“{way[1].partition(':')[0]}”" if way else found.group(0)

    text = text.replace("; the same command goes on with them", "")
    return re.sub(r"`asleft [^`]*`", sheet, re.sub(r" \(--[^)]*\)", "", text))
