"""One change over the line: preview, send, read back, compare, store, look into storage.

A change is true only when it was read back with every value as wished and every other value
as before. What to change, and whether it may be, is decided in `changing`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from asleft.bench.change.found import named_values, read_and_keep, stored_differences
from asleft.bench.change.height import AGAIN, CAUTION, touches_height
from asleft.bench.change.outcome import Outcome
from asleft.bench.desk import Desk
from asleft.bench.person import Ask
from asleft.controller import (
    SettingsReport,
    departures,
    difference,
    file_lines,
    restore_lines,
)
from asleft.errors import MachineError, MachineResetError, Stopped, StoreError
from asleft.units import SKEW_PLANES

if TYPE_CHECKING:
    from asleft.controller import Machine

MOVES_LATER = (
    "From now on the machine moves and feeds by the new values: watch the first movement with"
    " a hand at the switch."
)


HEIGHT = f"arms or end stops were changed. Before anything moves, {AGAIN}"
UNFILED = (
    "The lines went to the machine, and what came of them could not be filed: it may hold the new"
    " values. When the store can be written again, do the same again, or `asleft undo`: both read"
    " the machine first."
)
NOT_KEPT = (
    "Now it holds until power goes off; to keep it, put the values into the machine's"
    " configuration by hand, in the one form that it has"
)
NOT_TAKEN = (
    "Nothing on the machine changed: if its steps live in a configuration file, put the values"
    " there by hand, in the one form that it has"
)


@dataclass(frozen=True)
class Change:
    """What is to be sent: values by name, the lines that set them, and what they rest on.

    `before` is the report read just now. `whole` is the report that must be matched line by
    line, for a restore of everything; else the wished values and all others as before.
    """

    before: SettingsReport
    kept_before: int
    wanted: Mapping[str, float]
    lines: Sequence[str]
    store: bool
    proposal_ids: Sequence[int] = ()
    whole: SettingsReport | None = None


def send(desk: Desk, outcome: Outcome, change: Change) -> None:
    """Preview, send, read back and compare; store if wished. `outcome` is filled in.

    Raises:
        Stopped: the person did not confirm; nothing was sent.
        LineError, MachineResetError: in the middle of it; the marks in the store say how far.
        StoreError: before anything was sent, or in the middle of it, which is told.
    """
    outcome.before = named_values(change.before)
    outcome.kept_before = change.kept_before
    if not desk.person.confirm(_preview(desk, outcome, change)):
        raise Stopped("not confirmed: nothing was sent", where=outcome.command)
    number = file_change(desk, outcome, change.wanted, change.proposal_ids)
    machine = desk.connect()
    outcome.sent = list(change.lines)
    if touches_height(outcome.sent):
        outcome.warnings.append(HEIGHT)
    desk.store.mark_change(number, "sent", {"lines": outcome.sent, "store": change.store})
    try:
        _send_and_read_back(desk, outcome, change, number, machine)
    except StoreError:
        desk.person.tell(UNFILED)
        raise


def _send_and_read_back(
    desk: Desk, outcome: Outcome, change: Change, number: int, machine: Machine
) -> None:
    problems = _sent(machine, change.lines)
    after, outcome.kept_after = read_and_keep(desk, f"after {outcome.command}")
    outcome.read_back = named_values(after)
    if change.whole is not None:
        departed = difference(change.whole, after)
    else:
        departed = departures(change.before, after, change.wanted)
    problems += [str(each) for each in departed]
    outcome.verified = not problems
    desk.store.mark_change(
        number,
        "read_back" if outcome.verified else "failed",
        {
            "verified": outcome.verified,
            "values": outcome.read_back,
            "problems": problems,
            "kept": outcome.kept_after,
        },
    )
    if problems:
        outcome.reason = "; ".join(problems)
        if change.wanted and not difference(change.before, after):
            _to_the_file(desk, outcome, number, change, NOT_TAKEN)
    elif change.store:
        _store(desk, outcome, number, change, after)


def file_change(
    desk: Desk, outcome: Outcome, wanted: Mapping[str, float], proposal_ids: Sequence[int]
) -> int:
    """Begin a change in the store, in the words of the proposals."""
    kind = outcome.command
    assert kind != "prove"  # noqa: S101 - a proof changes nothing
    settings = [
        {
            "setting": setting_of(name),
            "axis": name,
            "before": outcome.before.get(name),
            "wanted": value,
        }
        for name, value in wanted.items()
    ]
    return desk.store.start_change(
        desk.calibration(),
        kind=kind,
        settings=settings,
        proposal_ids=list(proposal_ids),
        kept_before=outcome.kept_before,
    )


def setting_of(name: str) -> str:
    """The setting that a name of the command line stands for, as proposals call it."""
    arms = {"L": "arm_length", "R": "radius"}
    return "skew" if name in SKEW_PLANES else arms.get(name, "steps_per_mm")


def _sent(machine: Machine, lines: Sequence[str]) -> list[str]:
    """Send the lines; what the machine refused is a problem to show, not a fault to end with."""
    if not lines:
        return []
    try:
        machine.send_raw_settings(lines)
    except MachineResetError:
        raise
    except MachineError as refusal:
        return [refusal.message]
    return []


def _store(desk: Desk, outcome: Outcome, number: int, change: Change, live: SettingsReport) -> None:
    """Store everything in force, then look at what storage really holds."""
    machine = desk.connect()
    outcome.stored = machine.store()
    if outcome.stored is False:
        outcome.reason = "the machine says that it did not store"
    else:
        held = machine.reload_stored(discard_unstored=True)
        outcome.kept_after = desk.keep(held, "from storage, after storing", "from_storage")
        outcome.from_storage = named_values(held)
        lost = difference(live, held)
        outcome.stored = not lost
        if lost:
            outcome.reason = "storage holds other values: " + "; ".join(str(d) for d in lost)
            _sent(machine, restore_lines(live, held, everything=True))
            again, outcome.kept_after = read_and_keep(desk, "in force again, not stored")
            outcome.read_back = named_values(again)
            outcome.verified = not departures(change.before, again, change.wanted)
    desk.store.mark_change(
        number,
        "stored" if outcome.stored else "not_stored",
        {"values": outcome.from_storage, "kept": outcome.kept_after},
    )
    if not outcome.verified:
        desk.store.mark_change(number, "failed", {"values": outcome.read_back, "verified": False})
    elif not outcome.stored and change.wanted:
        _to_the_file(desk, outcome, number, change, NOT_KEPT)


def _to_the_file(desk: Desk, outcome: Outcome, number: int, change: Change, why: str) -> None:
    """What the machine does not take, or keep, is for its configuration: lines for a hand."""
    turn = desk.description.steps_per_turn
    before = named_values(change.before)
    taken = why == NOT_KEPT  # it takes M92, so nothing says that its file has travel instead
    outcome.by_hand = file_lines(change.wanted, before, turn, perhaps_travel=not taken)
    outcome.handed_over = True
    outcome.reason = f"{outcome.reason}. {why}"
    desk.store.mark_change(number, "handed_over", {"lines": outcome.by_hand})


def _preview(desk: Desk, outcome: Outcome, change: Change) -> Ask:
    parts = [
        f"{name} {outcome.before.get(name, float('nan')):g} → {value:g}"
        for name, value in change.wanted.items()
        if outcome.before.get(name) != value
    ]
    sentences = []
    if change.lines:
        sentences.append("Send " + "; ".join(change.lines) + f" ({', '.join(parts)})?")
    if change.store:
        sentences.append("Store it?" if change.lines else "Store what is in force?")
        sentences.append(_what_else_is_stored(desk, change))
    return Ask(
        f"{outcome.command}.confirm",
        " ".join(sentences) or "The machine holds all of it already. Read it again and note so?",
        cautions=_cautions(change),
        action="approve",
        details={
            "lines": list(change.lines),
            "before": outcome.before,
            "wanted": dict(change.wanted),
        },
    )


def _cautions(change: Change) -> tuple[str, ...]:
    if not change.lines:
        return ()
    return (MOVES_LATER, CAUTION) if touches_height(change.lines) else (MOVES_LATER,)


def _what_else_is_stored(desk: Desk, change: Change) -> str:
    differs = stored_differences(desk, change.before)
    if differs is None:
        return (
            "Storing keeps everything now in force: also whatever else was changed since the"
            " machine was last switched on."
        )
    others = [str(each) for each in differs if each.letter not in change.wanted]
    if others:
        return "Storing also keeps what is in force and not in storage: " + "; ".join(others) + "."
    return "Nothing else in force differs from storage."
