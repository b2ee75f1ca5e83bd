"""What is coming due on a machine for what its years foretell, and for its instruments.

Not for what an event undid: `undoing`. Reads the store alone. Stands on `history`.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any

from asleft.bench.years.history import Judged, check_due, checks_of, judge_machine
from asleft.bench.years.levels import decimal_year

if TYPE_CHECKING:
    from asleft.measure import Common
    from asleft.record import MachineRow, Store


def coming(store: Store, machine: MachineRow, now: datetime) -> list[dict[str, Any]]:
    """What is due on a machine for what its years foretell; entries of `asleft.due/1`."""
    at_years = decimal_year(now.isoformat())
    events = store.events(machine.id)
    judged, commons = judge_machine(store, machine.id, machine.name, events, at_years)
    entries: dict[str, dict[str, Any]] = {}
    for each in judged:
        may = each.ahead.may_reach_years
        if may is not None and may <= at_years:
            entry = _foretold(each)
            entries.setdefault(entry["what"], entry)
    described = store.instruments()
    for name, common in commons.items():
        of_it = _of_instrument(name, checks_of(described, name), common, at_years)
        entries |= {entry["what"]: entry for entry in of_it}
    return list(entries.values())


def _foretold(judged: Judged) -> dict[str, Any]:
    levels, finding = judged.levels, judged.finding
    where = levels.axis or levels.plane or ""
    what = f"{levels.name.replace('_', ' ')} {where}".strip()
    said = "was in doubt, more so by now" if judged.ahead.in_doubt else "may have left tolerance"
    known = {
        "steady": "it was steady so far, but that was some time ago",
        "unknown": "nobody knows yet how steady it is",
    }.get(finding.call, finding.reason)
    return {
        "what": f"{levels.charted.group} ({levels.trial} trial)",
        "trial": levels.trial,
        "measured": levels.points[-1].at,
        "why": f"{what} {said}: {known}",
    }


def _of_instrument(
    name: str, checks: Sequence[dict[str, Any]], common: Common, at_years: float
) -> list[dict[str, Any]]:
    """A check is due where it moved its machines since the last one, or where that is old."""
    last = checks[-1]["at"] if checks else None
    entry = {"what": f"check of {name}", "trial": None, "measured": last}
    since = common.since_years
    if since is not None and (last is None or decimal_year(last) < since):
        return [{**entry, "why": common.reason}]
    if check_due(checks, at_years):
        return [{**entry, "why": f"its last check on a known length is of {str(last)[:10]}"}]
    return []
