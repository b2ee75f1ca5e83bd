"""Changes that were handed over to be entered by hand: when they count, and what waits.

A fresh report, where one can be had, and a second piece must agree (for an extruder a feed trial);
typed values are a person's word, no proof. Not for handing over: see `handing`.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from asleft.controller import SettingsReport, departures, typed_report
from asleft.units import is_tool_axis

if TYPE_CHECKING:
    from asleft.bench.desk import Desk, Standing
    from asleft.record import ChangeRow, MarkRow

PIECE = "a second piece"


def settle(desk: Desk, report: SettingsReport, standing: Standing) -> None:
    """Compare what was handed over with a fresh report or typed values, and say how it stands."""
    for change in _handed_over(desk):
        if _seen_in_report(change) or (_in_force_anyway(change) and standing == "in_force"):
            continue
        wanted = {each["axis"]: each["wanted"] for each in change.settings}
        off = departures(report, report, wanted)
        values = {name: _value(report, name) for name in wanted}
        if off:
            listed = "; ".join(str(each) for each in off)
            desk.person.tell(
                f"The change handed over is not in force yet. Wished, and what is there: {listed}."
            )
        elif standing == "typed":
            desk.person.tell(
                "The change handed over is entered, by your word: a second piece, `asleft prove`,"
                " decides."
            )
        else:
            desk.store.mark_change(change.id, "read_back", {"verified": True, "values": values})
            desk.person.tell(
                "The change that was entered by hand is in force: "
                + ", ".join(f"{name} {value:g}" for name, value in wanted.items())
                + "."
            )


def unseen(desk: Desk) -> list[ChangeRow]:
    """Changes handed over that no report has shown since."""
    return [change for change in _handed_over(desk) if not _seen_in_report(change)]


def waits(desk: Desk) -> bool:
    """Whether a change is still handed over: no piece, or no report where one can be had."""
    return any(
        not _proved(desk, change) or (_can_report(desk) and not _seen_in_report(change))
        for change in _handed_over(desk)
    )


def note_piece(desk: Desk) -> None:
    """A second piece came out as foretold with the values handed over."""
    for change in _handed_over(desk):
        wanted = {each["axis"]: each["wanted"] for each in change.settings}
        if not _shown_by_piece(change) and not all(is_tool_axis(name) for name in wanted):
            details = {"by": PIECE, "values": wanted if not _seen_in_report(change) else {}}
            desk.store.mark_change(change.id, "read_back", details)


def as_entered(desk: Desk, report: SettingsReport, kept: int) -> tuple[SettingsReport, int]:
    """The state as it is if what was handed over since was entered: kept anew, by a word.

    A state that is newer than the change says itself whether it was.
    """
    held = {name: each.value for name, each in report.named.items()}
    since = [change for change in unseen(desk) if change.at > desk.kept(kept).at]
    wanted = {each["axis"]: each["wanted"] for change in since for each in change.settings}
    if all(held.get(name) == value for name, value in wanted.items()):
        return report, kept
    entered = typed_report({**held, **wanted})
    return entered, desk.keep(entered, "as handed over, by the person's word", "typed")


def words(desk: Desk) -> list[str]:
    """A warning for each change handed over that no report has shown."""
    return [
        f"that change {change.id} was entered by hand is your word: no report has shown it"
        for change in unseen(desk)
        if not _in_force_anyway(change)
    ]


def _handed_over(desk: Desk) -> list[ChangeRow]:
    calibration = desk.open_calibration()
    return [
        change
        for change in (desk.store.changes(calibration) if calibration else ())
        if any(mark.state == "handed_over" for mark in change.marks)
        and all(mark.state not in ("undone", "failed") for mark in change.marks)
    ]


def _since(change: ChangeRow) -> Iterable[MarkRow]:
    """The marks after it was handed over: what was live before says nothing of the file."""
    states = [mark.state for mark in change.marks]
    return change.marks[states.index("handed_over") + 1 :]


def _seen_in_report(change: ChangeRow) -> bool:
    return any(m.state == "read_back" and m.details.get("verified") for m in _since(change))


def _proved(desk: Desk, change: ChangeRow) -> bool:
    """Whether a piece showed it, and a feed trial whatever of it an extruder holds."""
    names = [each["axis"] for each in change.settings]
    tools = [name for name in names if is_tool_axis(name)]
    pieces = len(tools) == len(names) or _shown_by_piece(change)
    return pieces and all(_fed_right(desk, name, since=change.at) for name in tools)


def _shown_by_piece(change: ChangeRow) -> bool:
    return any(mark.details.get("by") == PIECE for mark in _since(change))


def _fed_right(desk: Desk, tool: str, *, since: str) -> bool:
    """Whether a feed trial begun after it left the tool's steps as they are."""
    return any(
        proposal["axis"] == tool and proposal["verdict"] == "leave"
        for trial in desk.store.trials(desk.calibration())
        if trial.kind == "feed" and trial.outcome == "done" and trial.at > since
        for proposal in (trial.result or {}).get("proposals", ())
    )


def _in_force_anyway(change: ChangeRow) -> bool:
    """It was sent as well: only a report after a restart shows what the file holds."""
    return any(mark.state == "sent" for mark in change.marks)


def _can_report(desk: Desk) -> bool:
    """Whether any report of this calibration came off a line or was pasted, and told its steps."""
    return any(
        kept.standing != "typed" and any((kept.parsed.get("steps_per_mm") or {}).values())
        for kept in desk.kept_here()
    )


def _value(report: SettingsReport, name: str) -> float | None:
    named = report.named.get(name)
    return None if named is None else named.value
