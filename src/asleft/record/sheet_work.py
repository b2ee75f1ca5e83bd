"""The parts of the record on paper about the work: readings, budget, verdicts, changes, proof.

Finished text from the document alone; `sheet` puts the parts in order. What a reading was
of is told from its place, whichever trial took it.
"""

from __future__ import annotations

from typing import Any

from asleft.record.blocks import Align, Block, chart, facts, heading, raw, says, table, verdict
from asleft.record.charts import Interval, interval_chart
from asleft.record.figures import (
    IN_PERCENT,
    UNKNOWN,
    decimals_for,
    estimate,
    number,
    percent,
    setting_unit,
    shown_unit,
    time,
    with_unit,
)

WORDS = {
    "leave": "leave",
    "adjust": "adjust",
    "inspect": "inspect first",
    "measure_more": "measure more",
    "no_estimate": "no estimate",
    "read_back": "read back",
    "not_stored": "not stored",
    "power_cycled": "power off and on",
    "handed_over": "handed over",
}
COLUMNS_OF_PLACE = ("direction", "faces", "nominal_mm", "place")


def _word(state: str) -> str:
    return WORDS.get(state, state)


def title(trial: dict[str, Any]) -> str:
    """A trial's heading."""
    return f"Trial {trial['id']}, {trial['kind']}"


def readings(document: dict[str, Any]) -> list[Block]:
    """Every reading of every trial, those not used set back."""
    if not document["trials"]:
        return [says("No trial was made.")]
    blocks: list[Block] = []
    for trial in document["trials"]:
        name = trial["instrument"].get("name")
        making = trial["making"].get("name")
        outcome = _word(trial["outcome"])
        if trial["reason"]:
            outcome += f": {trial['reason']}"
        rows = [
            ("from, to", f"{time(trial['started_at'])} to {time(trial['ended_at'])}"),
            ("outcome", outcome),
            ("settings in force", f"kept state no. {trial['kept']}" if trial["kept"] else UNKNOWN),
            ("instrument, making", f"{name or UNKNOWN}, {making or UNKNOWN}"),
        ]
        blocks += [heading(title(trial)), facts(rows), _readings(trial)]
    return blocks


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
    rows = [
        [
            str(count),
            of_place(each["place"]) or each["key"],
            with_unit(each["value"], each["unit"]),
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
    parts = []
    if place.get("place"):
        parts.append(f"place {place['place']}")
    if place.get("direction"):
        parts.append(f"{place['direction']} {place.get('faces') or ''}".strip())
    if place.get("nominal_mm") is not None:
        parts.append(f"drawn {with_unit(place['nominal_mm'], 'mm')}")
    for key, value in place.items():
        if key not in COLUMNS_OF_PLACE and isinstance(value, (int, float)):
            name, _, _ = key.partition("_mm")
            unit = "mm/min" if key.endswith("_mm_min") else "mm" if key.endswith("_mm") else ""
            parts.append(f"{name.replace('_', ' ')} {with_unit(value, unit)}")
    return ", ".join(parts)


def set_aside(document: dict[str, Any]) -> Block:
    """What the estimates do not use, with the reason."""
    rows = [
        [
            title(trial),
            str(count),
            of_place(each["place"]) or each["key"],
            with_unit(each["value"], each["unit"]),
            ("taken back: " if each["taken_back"] else "") + str(each["why_not"]),
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
    return [*blocks, says(note)]


def _budget(trial: dict[str, Any]) -> Block:
    units = {
        _quantity_name(each): shown_unit(each["unit"], each["name"]) for each in trial["quantities"]
    }
    totals: dict[str, float] = {}
    for line in trial["budget"]:
        totals[line["quantity"]] = totals.get(line["quantity"], 0.0) + line["contribution"] ** 2
    rows = []
    before = None
    for line in trial["budget"]:
        first = str(line["quantity"]).split()[0]
        unit, factor = units.get(line["quantity"]) or next(
            (shown for name, shown in units.items() if name.split()[0] == first), (RATIO_OF, 1.0)
        )
        size = abs(line["contribution"]) * factor
        total = totals[line["quantity"]]
        share = 100 * line["contribution"] ** 2 / total if total else 0.0
        rows.append(
            [
                readable(line["quantity"]) if line["quantity"] != before else "",
                readable(line["input"]),
                line["kind"],
                with_unit(size, unit, decimals_for(size)),
                with_unit(share, "%", 1),
            ]
        )
        before = line["quantity"]
    columns: list[tuple[str, Align]] = [
        ("quantity", "left"),
        ("input", "left"),
        ("type", "left"),
        ("contribution", "right"),
        ("share", "right"),
    ]
    return table(columns, rows, wide=1)


RATIO_OF = "mm/mm"


def readable(name: Any) -> str:
    """A name of a quantity or input as words."""
    return str(name).replace("_", " ")


def _quantity_name(each: dict[str, Any]) -> str:
    which = each.get("axis") or each.get("plane") or ""
    return f"{each['name']} {which}".strip()


def verdicts(document: dict[str, Any]) -> list[Block]:
    """What was found of each quantity, the chart, and the verdict on each setting."""
    blocks: list[Block] = []
    for trial in document["trials"]:
        if not trial["quantities"]:
            continue
        mine = [each for each in document["proposals"] if each["trial"] == trial["id"]]
        drawn = scale_chart(trial)
        blocks += [heading(title(trial)), _quantities(trial)]
        blocks += [chart(drawn)] if drawn else []
        blocks += [_verdict(each) for each in mine]
    return blocks or [says("No trial gave an estimate, so there is no verdict.")]


def _quantities(trial: dict[str, Any]) -> Block:
    rows = []
    for each in trial["quantities"]:
        name = readable(_quantity_name(each))
        if each["value"] is None:
            rows.append([name, UNKNOWN, UNKNOWN, each.get("reason") or "no reason was given"])
        else:
            value, u, interval = estimate(each)
            if each["u"] is None:
                interval = each.get("reason") or UNKNOWN
            rows.append([name, value, u, interval])
    columns: list[tuple[str, Align]] = [
        ("quantity", "left"),
        ("value", "right"),
        ("standard uncertainty", "right"),
        ("95 % interval", "left"),
    ]
    return table(columns, rows, wide=3)


def scale_chart(trial: dict[str, Any]) -> str | None:
    """The trial's relative errors against the tolerance, in percent; None without any."""
    tolerance = (trial["parameters"].get("basis") or trial["parameters"]).get("tolerance") or {}
    rows = [
        Interval(
            readable(_quantity_name(each)),
            *(100 * (each[key] - base) for key in ("value", "low95", "high95")),
        )
        for each in trial["quantities"]
        for base in [1.0 if each["name"] in ("fed_ratio", "flow") else 0.0]
        if each["name"] in (*IN_PERCENT, "fed_ratio", "flow")
        and None not in (each["value"], each["low95"], each["high95"])
    ]
    if not rows:
        return None
    key = {"feed": "feed", "bead": "bead"}.get(trial["kind"], "scale")
    band = tolerance.get(key)
    caption = "error with 95 % interval" + ("; band: tolerance" if band else "")
    return interval_chart(
        rows, unit="%", band=100 * band if band is not None else None, caption=caption
    )


def _verdict(each: dict[str, Any]) -> Block:
    unit = setting_unit(each["setting"], each["axis"])
    digits = decimals_for(each.get("u"), default=4)
    lines = []
    if each.get("proposed") is not None:
        u = f", standard uncertainty {with_unit(each['u'], unit, digits)}" if each.get("u") else ""
        lines.append(
            f"in force {with_unit(each.get('in_force'), unit)}; proposed"
            f" {with_unit(each['proposed'], unit, digits)}{u}"
        )
    elif each.get("in_force") is not None:
        lines.append(f"in force {with_unit(each['in_force'], unit)}; nothing proposed")
    p, after = each.get("p_within_tolerance"), each.get("p_after")
    if p is not None:
        then = f"; after adjusting {percent(after)}" if after is not None else ""
        lines.append(f"probability of being within tolerance: {percent(p)}{then}")
    lines.append(each["reason"])
    if each.get("withdrawn"):
        lines.append(f"Withdrawn: {each['withdrawn']}")
    word = _word(each["verdict"]) + (" (provisional)" if each.get("provisional") else "")
    where = "" if each.get("place", "controller") == "controller" else ", in the slicing profile"
    return verdict(f"{each['axis']} {readable(each['setting'])}{where}", word, lines)


def changes(document: dict[str, Any]) -> list[Block]:
    """Every change: before and wanted, and what was sent, answered and read back."""
    if not document["changes"]:
        return [says("Nothing was changed.")]
    blocks: list[Block] = []
    for change in document["changes"]:
        rows = []
        for each in change["settings"]:
            unit = setting_unit(str(each["setting"]), str(each.get("axis") or ""))
            name = f"{each.get('axis') or ''} {readable(each['setting'])}".strip()
            held = _read_back(change, each)
            values = (each.get("before"), each.get("wanted"), held)
            rows.append([name, *(with_unit(value, unit) for value in values)])
        columns: list[tuple[str, Align]] = [
            ("setting", "left"),
            ("before", "right"),
            ("wanted", "right"),
            ("read back", "right"),
        ]
        kind = {"set": "Set", "undo": "Undone", "restore": "Restored"}[change["kind"]]
        blocks.append(heading(f"Change {change['id']}: {kind.lower()}, {time(change['at'])}"))
        blocks.append(table(columns, rows, wide=0))
        blocks += [block for mark in change["marks"] for block in _mark(mark)]
    return blocks


def _read_back(change: dict[str, Any], setting: dict[str, Any]) -> Any:
    """What the machine said it holds, as kept with the marks; the latest counts."""
    name = setting.get("axis") or setting["setting"]
    held = None
    for mark in change["marks"]:
        held = (mark["details"].get("values") or {}).get(name, held)
    return held


def _mark(mark: dict[str, Any]) -> list[Block]:
    told = mark["details"]
    text = f"{time(mark['at'])}  {_word(mark['state'])}"
    for key, yes, no in (
        ("verified", "all values as wished, all others as before", "not as wished"),
        ("survived", "the settings outlasted it", "the settings did not outlast it"),
    ):
        if told.get(key) is not None:
            text += ": " + (yes if told[key] else no)
    if told.get("reason"):
        text += f": {told['reason']}"
    lines = [str(line) for key in ("lines", "read_back_lines") for line in told.get(key) or []]
    return [says(text), raw("\n".join(lines))] if lines else [says(text)]


def proof(document: dict[str, Any]) -> list[Block]:
    """The second piece beside its prediction, the one number, and the power cycle."""
    told = document["proof"]
    blocks: list[Block] = []
    if told["reason"]:
        blocks.append(says(_sentence(told["reason"])))
    if told["predicted_at"]:
        rows = [("foretold", time(told["predicted_at"]))]
        if told["chi2"] is not None:
            dof = UNKNOWN if told["dof"] is None else str(told["dof"])
            rows.append(
                ("χ²", f"{number(told['chi2'], 2)} (pure number) for {dof} degrees of freedom")
            )
            rows.append(("probability of more by chance", percent(told["p"])))
        blocks.append(facts(rows))
    if told["faces"]:
        blocks.append(_faces(told["faces"]))
        drawn = proof_chart(told["faces"])
        blocks += [chart(drawn)] if drawn else []
    cycle = told["power_cycle"]
    blocks.append(
        says(
            "No power cycle was made."
            if cycle is None
            else f"Power off and on, {time(cycle['at'])}: the settings"
            f" {'outlasted it' if cycle['survived'] else 'did not outlast it'}."
        )
    )
    return blocks


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + ("" if text.endswith(".") else ".")


def _faces(faces: list[dict[str, Any]]) -> Block:
    columns: list[tuple[str, Align]] = [
        ("face", "left"),
        ("drawn", "right"),
        ("foretold", "right"),
        ("95 % interval", "right"),
        ("read", "right"),
        ("inside", "left"),
    ]
    rows = [
        [
            " ".join(str(each[key]) for key in ("label", "direction", "faces") if each[key]),
            with_unit(each["nominal_mm"], "mm"),
            with_unit(each["predicted_mm"], "mm", 3),
            f"{number(each['low95'], 3)} to {with_unit(each['high95'], 'mm', 3)}",
            with_unit(each["reading_mm"], "mm"),
            UNKNOWN if each["inside"] is None else "yes" if each["inside"] else "no",
        ]
        for each in faces
    ]
    return table(columns, rows, wide=0)


def proof_chart(faces: list[dict[str, Any]]) -> str | None:
    """Read less foretold of each face, with the foretold interval, in mm; None unread."""
    rows = [
        Interval(
            " ".join(str(each[key]) for key in ("label", "direction", "faces") if each[key]),
            each["reading_mm"] - each["predicted_mm"],
            each["low95"] - each["predicted_mm"],
            each["high95"] - each["predicted_mm"],
            outside=each["inside"] is False,
        )
        for each in faces
        if None not in (each["reading_mm"], each["predicted_mm"], each["low95"], each["high95"])
    ]
    if not rows:
        return None
    return interval_chart(rows, unit="mm", caption="read less foretold; bar: foretold 95 %")
