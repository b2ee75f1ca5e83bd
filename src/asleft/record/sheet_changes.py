"""The parts of the record on paper about changing: changes with read-back, proof.

Finished text from the document alone; what was read is shown beside what was wanted.
"""

from __future__ import annotations

from typing import Any

from asleft.record.blocks import Align, Block, chart, facts, heading, marks, says, table
from asleft.record.charts import Interval, interval_chart
from asleft.record.figures import (
    UNKNOWN,
    alike,
    number,
    percent,
    setting_unit,
    time,
    with_unit,
)
from asleft.record.names import readable, sentence, word

ROWS_A_CHART = 40  # what a page holds


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
            rows.append([name, *alike(values, unit)])
        columns: list[tuple[str, Align]] = [
            ("setting", "left"),
            ("before", "right"),
            ("wanted", "right"),
            ("read back", "right"),
        ]
        kind = {"set": "Set", "undo": "Undone", "restore": "Restored"}[change["kind"]]
        blocks.append(heading(f"Change {change['id']}: {kind.lower()}, {time(change['at'])}"))
        blocks.append(table(columns, rows))
        blocks.append(marks([_mark(mark) for mark in change["marks"]]))
    return blocks


def _read_back(change: dict[str, Any], setting: dict[str, Any]) -> Any:
    """What the machine said it holds, as kept with the marks; the latest counts."""
    name = setting.get("axis") or setting["setting"]
    held = None
    for mark in change["marks"]:
        held = (mark["details"].get("values") or {}).get(name, held)
    return held


def _mark(mark: dict[str, Any]) -> tuple[str, str, str]:
    """When, what, and the lines that show it."""
    told = mark["details"]
    text = word(mark["state"])
    for key, yes, no in (
        ("verified", "all values as wished, all others as before", "not as wished"),
        ("survived", "the settings outlasted it", "the settings did not outlast it"),
    ):
        if told.get(key) is not None:
            text += ": " + (yes if told[key] else no)
    if told.get("reason"):
        text += f": {told['reason']}"
    lines = [str(line) for key in ("lines", "read_back_lines") for line in told.get(key) or []]
    return time(mark["at"]), text, "\n".join(lines)


def proof(document: dict[str, Any]) -> list[Block]:
    """The second piece beside its prediction, the one number, and the power cycle."""
    told = document["proof"]
    blocks: list[Block] = []
    if told["reason"]:
        blocks.append(says(sentence(told["reason"])))
    if told["predicted_at"]:
        rows = [("foretold", time(told["predicted_at"]))]
        if told["chi2"] is not None:
            dof = UNKNOWN if told["dof"] is None else str(told["dof"])
            rows.append(
                ("χ²", f"{number(told['chi2'], 2)} (pure number) for {dof} degrees of freedom")
            )
            rows.append(("p, more by chance", percent(told["p"])))
        blocks.append(facts(rows))
    if told["faces"]:
        blocks.append(_faces(told["faces"]))
        blocks += [chart(svg) for svg in proof_charts(told["faces"])]
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


def _faces(faces: list[dict[str, Any]]) -> Block:
    columns: list[tuple[str, Align]] = [
        ("face", "left"),
        ("drawn", "right"),
        ("foretold", "right"),
        ("95 % interval", "right"),
        ("read", "right"),
        ("inside", "left"),
    ]
    read = alike([each["reading_mm"] for each in faces], "mm")
    rows = [
        [
            " ".join(str(each[key]) for key in ("label", "direction", "faces") if each[key]),
            with_unit(each["nominal_mm"], "mm", 3),
            with_unit(each["predicted_mm"], "mm", 3),
            f"{number(each['low95_mm'], 3)} to {with_unit(each['high95_mm'], 'mm', 3)}",
            read[row],
            UNKNOWN if each["inside"] is None else "yes" if each["inside"] else "no",
        ]
        for row, each in enumerate(faces)
    ]
    return table(columns, rows, wide=0)


def proof_charts(faces: list[dict[str, Any]]) -> list[str]:
    """Read less foretold of each face that was read, with the foretold interval, in mm."""
    rows = [
        Interval(
            " ".join(str(each[key]) for key in ("label", "direction", "faces") if each[key]),
            each["reading_mm"] - each["predicted_mm"],
            each["low95_mm"] - each["predicted_mm"],
            each["high95_mm"] - each["predicted_mm"],
            outside=each["inside"] is False,
        )
        for each in faces
        if None
        not in (each["reading_mm"], each["predicted_mm"], each["low95_mm"], each["high95_mm"])
    ]
    caption = "read less foretold; bar: foretold 95 %"
    return [
        interval_chart(rows[first : first + ROWS_A_CHART], unit="mm", caption=caption)
        for first in range(0, len(rows), ROWS_A_CHART)
    ]
