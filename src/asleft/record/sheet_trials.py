"""The parts of the record on paper about measuring: readings, set aside, budget.

Finished text from the document alone. What a reading was of is told from its place,
whichever trial took it. `sheet` puts the parts in order.
"""

from __future__ import annotations

from typing import Any

from asleft.record.blocks import Align, Block, drawing, facts, heading, says, table
from asleft.record.figures import RATIO, UNKNOWN, alike, decimals_for, shown_unit, time, with_unit
from asleft.record.names import quantity, readable, title, told, word
from asleft.record.sheet_methods import begun_with

NEGLIGIBLE = 0.001  # of the sum of squares: such lines are shown together
COLUMNS_OF_PLACE = ("direction", "faces", "nominal_mm", "place")


def readings(document: dict[str, Any]) -> list[Block]:
    """Every reading of every trial, those not used set back."""
    if not document["trials"]:
        return [says("No trial was made.")]
    blocks: list[Block] = []
    drawn = _drawn(document)
    for trial in document["trials"]:
        name = trial["instrument"].get("name")
        making = trial["making"].get("name")
        outcome = word(trial["outcome"])
        if trial["reason"]:
            outcome += f": {told(trial['reason'])}"
        rows = [
            ("from, to", f"{time(trial['started_at'])} to {time(trial['ended_at'])}"),
            ("outcome", outcome),
            ("settings in force", f"kept state no. {trial['kept']}" if trial["kept"] else UNKNOWN),
            ("instrument, making", f"{name or UNKNOWN}, {making or UNKNOWN}"),
        ]
        if begun := begun_with(trial):
            rows.insert(0, ("begun with", begun))
        where, picture = drawn.get(trial["id"], ("", None))
        if where:
            rows.append(("places", where))
        blocks += [heading(title(trial)), facts(rows, leads=True)]
        blocks += [picture] if picture else []
        blocks.append(_readings(trial))
    return blocks


def _drawn(document: dict[str, Any]) -> dict[int, tuple[str, Block | None]]:
    """By trial, where its numbered places are drawn, and the drawing where it comes first."""
    found: dict[int, tuple[str, Block | None]] = {}
    for each in document.get("drawings") or []:
        first, *others = each["trials"]
        if each["svg"] is None:
            found |= dict.fromkeys(each["trials"], (f"not drawn: {each['reason']}", None))
            continue
        which = ", ".join(str(number) for number in each["trials"])
        what = "The bodies that were tried" if each["piece"] == "fit" else "Where the jaws went"
        caption = f"{what}, by number: trial{'s' if others else ''} {which}"
        found[first] = ("by their numbers on the drawing", drawing(each["svg"], caption))
        found |= dict.fromkeys(others, (f"by their numbers on the drawing of trial {first}", None))
    return found


def _readings(trial: dict[str, Any]) -> Block:
    if not trial["readings"]:
        return says("No reading was taken.")
    columns: list[tuple[str, Align]] = [
        ("no.", "right"),
        ("what was measured", "left"),
        ("reading", "right"),
        ("as typed", "right"),
        ("time", "right"),
        ("used", "left"),
    ]
    units = {each["unit"] for each in trial["readings"]}
    read = {
        unit: iter(
            alike(
                [
                    e["value"]
                    for e in trial["readings"]
                    if e["unit"] == unit and not e["place"].get("outcome")
                ],
                unit,
            )
        )
        for unit in units
    }
    rows = [
        [
            str(count),
            of_place(each["place"]) or each["key"],
            each["place"].get("outcome") or next(read[each["unit"]]),
            each["raw"].strip(),
            f"{each['at'][11:19]}",
            "yes" if each["used"] else "no",
        ]
        for count, each in enumerate(trial["readings"], start=1)
    ]
    faint = [n for n, each in enumerate(trial["readings"]) if not each["used"]]
    return table(columns, rows, wide=1, faint=faint)


def of_place(place: dict[str, Any]) -> str:
    """What was measured, in words: the faces and the drawn size, or the lengths given."""
    if place.get("weighed"):
        return "mass of the ring"
    parts = []
    if place.get("label"):
        parts.append(f"{place.get('kind') or 'body'} {place['label']}")
    if place.get("band"):
        parts.append(f"band {place['band']}")
    if place.get("place"):
        parts.append(f"place {place['place']}")
    if place.get("axis"):
        parts.append(f"{place['axis']} sent to {with_unit(place['target_mm'], 'mm')}")
        parts.append({"+": "from below", "-": "from above"}.get(place.get("approach", ""), ""))
    if place.get("direction"):
        parts.append(f"{place['direction']} {place.get('faces') or ''}".strip())
    if place.get("nominal_mm") is not None:
        parts.append(f"drawn {with_unit(round(place['nominal_mm'], 3), 'mm')}")
    told_already = (*COLUMNS_OF_PLACE, *(("target_mm",) if place.get("axis") else ()))
    for key, value in place.items():
        if key not in told_already and isinstance(value, (int, float)):
            name, _, _ = key.partition("_mm")
            unit = "mm/min" if key.endswith("_mm_min") else "mm" if key.endswith("_mm") else ""
            parts.append(f"{name.replace('_', ' ')} {with_unit(value, unit)}")
    return ", ".join(part for part in parts if part)


def set_aside(document: dict[str, Any]) -> Block:
    """What the estimates do not use, with the reason."""
    rows = [
        [
            title(trial),
            str(count),
            of_place(each["place"]) or each["key"],
            with_unit(each["value"], each["unit"]),
            ("taken back: " if each["taken_back"] else "") + told(str(each["why_not"])),
        ]
        for trial in document["trials"]
        for count, each in enumerate(trial["readings"], start=1)
        if not each["used"]
    ]
    if not rows:
        return says("Nothing: every reading was used.")
    columns: list[tuple[str, Align]] = [
        ("trial", "left"),
        ("no.", "right"),
        ("what was measured", "left"),
        ("reading", "right"),
        ("why", "left"),
    ]
    return table(columns, rows, wide=4)


def budgets(document: dict[str, Any]) -> list[Block]:
    """The budget of each quantity of each trial, largest contribution first."""
    blocks: list[Block] = []
    for trial in document["trials"]:
        if trial["budget"]:
            blocks += [heading(title(trial)), _budget(trial)]
    if not blocks:
        return [says("No trial gave an estimate, so there is no budget.")]
    note = (
        "Type A is evaluated from the readings' scatter, type B from other knowledge (JCGM 100)."
        " A contribution is a standard uncertainty; its share is of the sum of squares."
    )
    return [says(note, leads=True), *blocks]


def _budget(trial: dict[str, Any]) -> Block:
    units = {quantity(each): shown_unit(each["unit"], each["name"]) for each in trial["quantities"]}
    rows = []
    for name in dict.fromkeys(line["quantity"] for line in trial["budget"]):
        lines = [line for line in trial["budget"] if line["quantity"] == name]
        shown = units.get(name) or _unit_by_first_word(str(name), units)
        rows += _budget_rows(readable(name), lines, *shown)
    columns: list[tuple[str, Align]] = [
        ("quantity", "left"),
        ("input", "left"),
        ("type", "left"),
        ("contribution", "right"),
        ("share", "right"),
    ]
    return table(columns, rows, wide=1)


def _unit_by_first_word(name: str, units: dict[str, tuple[str, float]]) -> tuple[str, float]:
    """The unit of the quantity that starts alike, where a budget names no axis."""
    same = (shown for each, shown in units.items() if each.split()[0] == name.split(maxsplit=1)[0])
    return next(same, (RATIO, 1.0))


def _budget_rows(
    name: str, lines: list[dict[str, Any]], unit: str, factor: float
) -> list[list[str]]:
    """The lines of one quantity, largest first; those below 0.1 % of it together in one."""
    total = sum(line["contribution"] ** 2 for line in lines) or 1.0
    large = [line for line in lines if line["contribution"] ** 2 >= NEGLIGIBLE * total]
    small = [line for line in lines if line["contribution"] ** 2 < NEGLIGIBLE * total]
    rows = []
    for line in large:
        size = abs(line["contribution"]) * factor
        share = with_unit(100 * line["contribution"] ** 2 / total, "%", 1)
        shown = with_unit(size, unit, decimals_for(size))
        rows.append([name, readable(line["input"]), line["kind"], shown, share])
    if small:
        size = sum(line["contribution"] ** 2 for line in small) ** 0.5 * factor
        which = "; ".join(readable(line["input"]) for line in small)
        kinds = "".join(sorted({line["kind"] for line in small}))
        shown = with_unit(size, unit, decimals_for(size))
        rows.append([name, f"together: {which}", kinds, shown, "< 0.1\u00a0%"])
    return [[name if number == 0 else "", *row[1:]] for number, row in enumerate(rows)]
