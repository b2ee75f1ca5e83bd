"""Changes handed over as lines to enter: without a line, or where steps live in a file on board.

Not for deciding what to change, and not for when it counts: see `waiting`. Stands on `found`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from asleft.bench.change.found import named_values
from asleft.bench.change.height import CAUTION, touches_height
from asleft.bench.change.outcome import Command, Outcome
from asleft.bench.change.sending import MOVES_LATER, file_change
from asleft.bench.change.waiting import as_entered
from asleft.bench.desk import Desk
from asleft.bench.person import Ask
from asleft.controller import SettingsReport, file_lines, parse_report, setting_lines
from asleft.errors import InputError, Stopped

if TYPE_CHECKING:
    from asleft.record import KeptRow

NO_PORT = (
    "no port is known: enter these lines, store them with M500 where the machine can, then read"
    " the settings again"
)
IN_FILE = (
    "this machine keeps its steps in a file on its board and none can be sent: put these values"
    " in by hand, in the one form that the file has, and restart it. Then give the new values with"
    " `asleft found`, and prove them with a second piece"
)
PERHAPS = (
    "whether this machine takes M92 is not known: enter the lines, or put the values into its"
    " configuration, in the one form that it has"
)


def latest_told(desk: Desk) -> KeptRow | None:
    """The latest kept state that holds any steps."""
    for kept in reversed(desk.store.kept_states(desk.row.id)):
        if any((kept.parsed.get("steps_per_mm") or {}).values()):
            return kept
    return None


def in_file(desk: Desk, kept: int) -> bool:
    """Whether the machine is connected and its settings are known by hand only."""
    return desk.reachable and desk.kept(kept).standing in ("typed", "pasted")


def hand_over(
    desk: Desk,
    command: Command,
    wanted: Mapping[str, float],
    proposals: Sequence[Mapping[str, Any]],
    *,
    lines: Sequence[str] | None = None,
) -> dict[str, Any]:
    """The change as lines to enter; it stays handed over until report and piece agree.

    Args:
        desk: the bench's.
        command: which of `asleft.set/1` and its kin.
        wanted: values by name.
        proposals: those that it acts on.
        lines: to enter instead of those that set `wanted`.

    Raises:
        InputError: no kept state, or nothing to set.
    """
    latest = latest_told(desk)
    if latest is None or not (wanted or lines):
        raise InputError(
            "neither a port nor a kept state of this machine is known"
            if latest is None
            else "there is nothing to set, and no port to store over",
            hint="Give --port, or keep its settings first with `asleft found --report`.",
            where="set",
        )
    before = parse_report(latest.raw)
    outcome = Outcome(command, named_values(before), kept_before=latest.id, handed_over=True)
    outcome.by_hand, outcome.reason = _by_hand(desk, latest, before, wanted, lines)
    if touches_height(outcome.by_hand) or {"L", "R"} & set(wanted):
        outcome.warnings.append(CAUTION)
    number = file_change(desk, outcome, wanted, [p["id"] for p in proposals])
    desk.store.mark_change(number, "handed_over", {"lines": outcome.by_hand})
    return outcome.to_dict()


def entered(desk: Desk, told: Mapping[str, Any]) -> None:
    """Show the lines of a change handed over and wait for the person's word that they stand.

    The state that the word describes is kept, marked as typed: what comes next rests on it until
    a report or a piece decides.

    Args:
        desk: the bench's.
        told: what `hand_over` returned.

    Raises:
        Stopped: they are not entered.
    """
    ask = Ask(
        "entered",
        "Enter these lines by hand, then say so.",
        cautions=(MOVES_LATER, *told["warnings"]),
        action="enter",
        details={"lines": list(told["by_hand"]), "how": told["reason"]},
        only_in_person=True,
    )
    desk.release()  # who enters them restarts the machine, or switches it off for it
    if not desk.person.confirm(ask):
        raise Stopped("the lines are not entered yet: nothing rests on them", where="entered")
    latest = latest_told(desk)
    if latest is not None:
        as_entered(desk, parse_report(latest.raw), latest.id)


def _by_hand(
    desk: Desk,
    latest: KeptRow,
    before: SettingsReport,
    wanted: Mapping[str, float],
    lines: Sequence[str] | None,
) -> tuple[list[str], str]:
    """The lines, and what to do with them, by what is known of the machine."""
    codes = list(lines) if lines is not None else setting_lines(wanted, before)
    words = file_lines(wanted, named_values(before), desk.description.steps_per_turn)
    if in_file(desk, latest.id):
        return words, IN_FILE
    if latest.standing == "typed" or before.is_dump:
        return [*codes, *words], PERHAPS
    return codes, NO_PORT
