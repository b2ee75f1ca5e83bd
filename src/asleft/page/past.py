"""The history sheet: what the years of one machine have shown, a chart for each quantity.

Judges nothing: what moved and since when is said by `bench`. Stands on `asleft.history/1`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from asleft.errors import InputError
from asleft.page.house import House
from asleft.page.saying import NAMES, day
from asleft.page.strip import status

CALLS = {
    "steady": "Stays",
    "step": "Has jumped",
    "drift": "Drifts",
    "changed": "Has moved",
    "unknown": "Cannot be judged yet",
}

_TITLES = {"fed_ratio": "feed of", "shear": "squareness"}


def history(house: House, machine: str, _asked: Mapping[str, str]) -> dict[str, Any]:
    """Every quantity over the calibrations, with what happened to the machine, and instruments."""
    from asleft.bench.pictures import years_figure

    with house.look(machine) as bench:
        try:
            told = bench.history(machine)
        except InputError:  # nothing was ever kept: there is no past to show
            told = {"machines": [], "series": [], "events": [], "instruments": []}
    return {
        "machine": machine,
        "status": status(house.worker(machine)),
        "past": [{**each, "first": day(each["first"])} for each in told["machines"]],
        "series": [
            {
                "title": _title(each),
                "call": CALLS.get(each["call"], each["call"]),
                "why": each["why"],
                "figure": years_figure(each, told["events"]),
                "may_reach": each["may_reach"],
                "in_doubt": each["in_doubt"],
            }
            for each in told["series"]
        ],
        "events": [{**each, "at": day(each["at"])} for each in told["events"]],
        "instruments": told["instruments"],
    }


def _title(series: Mapping[str, Any]) -> str:
    name = _TITLES.get(series["name"]) or NAMES.get(
        series["name"], series["name"].replace("_", " ")
    )
    title = f"{name} {series['axis'] or series['plane'] or ''}".strip()
    return title[:1].upper() + title[1:]
