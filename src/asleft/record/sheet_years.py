"""The part of the record on paper about the machine's years: one chart a quantity.

The figures are those of `asleft.history/1` as they were at this calibration. Finished text from
the document alone.
"""

from __future__ import annotations

from typing import Any

from asleft.record.blocks import Align, Block, chart, says, table
from asleft.record.charts_history import UNITS, history_chart
from asleft.record.figures import UNKNOWN, decimals_for, number
from asleft.record.names import quantity, readable, sentence, told

NOT_LOOKED_AT = "The record was written without looking at the machine's years."


def years(document: dict[str, Any]) -> list[Block]:
    """How this calibration stands to the machine's earlier ones."""
    told_of = document.get("years")
    if told_of is None:
        return [says(NOT_LOOKED_AT)]
    if not told_of["series"]:
        return [says(f"No chart: {told_of['reason']}.")]
    note = (
        "Each dot is one calibration's error had no setting been changed since the first, its bar"
        " ± 2 standard uncertainties. Dashes: limits of individuals (three sigma from moving"
        " ranges); line: exponentially weighted moving average; band: tolerance; open: outside the"
        " limits; dotted: an event."
    )
    events = tuple(told_of["events"])
    charts = [chart(history_chart(each, events)) for each in told_of["series"]]
    return [says(note), _table(told_of["series"]), *charts, *_calls(told_of["series"])]


def _table(all_series: list[dict[str, Any]]) -> Block:
    """The latest of each quantity beside the one before and the limits."""
    columns: list[tuple[str, Align]] = [
        ("quantity", "left"),
        ("calibrations", "right"),
        ("one before", "right"),
        ("this one", "right"),
        ("limits of individuals", "right"),
        ("judged", "left"),
    ]
    return table(columns, [_row(each) for each in all_series], wide=0)


def _row(series: dict[str, Any]) -> list[str]:
    factor, unit = UNITS.get(series["unit"], (1.0, series["unit"]))
    before, last = series["points"][-2:]
    digits = decimals_for(last["u"] * factor)

    def shown(value: float | None) -> str:
        if value is None:
            return UNKNOWN
        return f"{number(value * factor, digits, sign=True)}\u00a0{unit}"

    limits = UNKNOWN
    if last["low"] is not None:
        limits = f"{number(last['low'] * factor, digits, sign=True)} to {shown(last['high'])}"
    name = f"{readable(quantity(series))}, {series['trial']}"
    count = str(len(series["points"]))
    return [name, count, shown(before["level"]), shown(last["level"]), limits, series["call"]]


def _calls(all_series: list[dict[str, Any]]) -> list[Block]:
    """Why each was judged so, the same reason once."""
    by_why: dict[str, list[str]] = {}
    for each in all_series:
        by_why.setdefault(each["why"], []).append(readable(quantity(each)))
    return [says(f"{', '.join(names)}: {sentence(told(why))}") for why, names in by_why.items()]
