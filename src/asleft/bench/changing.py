"""Changing what the machine holds: preview, send, read back, compare, store, and put back.

A change is true only when it was read back with every value as wished and every other value
as before. Without a line, the same change comes out as lines to enter by hand.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from asleft.bench.desk import Desk
from asleft.bench.found import named_values, read_and_keep, stored_differences
from asleft.bench.person import Ask
from asleft.controller import (
    SettingsReport,
    departures,
    difference,
    parse_report,
    restore_lines,
    setting_lines,
)
from asleft.errors import InputError, RefusedError, Stopped
from asleft.units import SKEW_PLANES

if TYPE_CHECKING:
    from asleft.record import ChangeRow, ProposalRow

MOVES_LATER = (
    "From now on the machine moves and feeds by the new values: watch the first movement with"
    " a hand at the switch."
)


@dataclass
class Outcome:
    """One change as it goes; `to_dict` is `asleft.set/1` and its kin."""

    command: str
    before: dict[str, float] = field(default_factory=dict)
    sent: list[str] = field(default_factory=list)
    read_back: dict[str, float] = field(default_factory=dict)
    verified: bool | None = None
    stored: bool | None = None
    from_storage: dict[str, float] | None = None
    survived_power_cycle: bool | None = None
    by_hand: list[str] = field(default_factory=list)
    handed_over: bool = False
    predicted: list[dict[str, Any]] = field(default_factory=list)
    chi2: float | None = None
    dof: int | None = None
    p: float | None = None
    reason: str | None = None
    kept_before: int | None = None
    kept_after: int | None = None
    warnings: list[str] = field(default_factory=list)

    def to_dict(self) -> dict[str, Any]:
        """JSON values."""
        return {"schema": f"asleft.{self.command}/1", **_without(self.__dict__, "command")}


def set_values(
    desk: Desk, values: Mapping[str, float] | None, *, from_findings: bool, store: bool
) -> dict[str, Any]:
    """Set named values, or those of the standing proposals; returns `asleft.set/1`."""
    if from_findings:
        wanted, proposals = _findings(desk)
    else:
        wanted, proposals = dict(values or {}), []
    if not wanted and not store:
        raise InputError(
            "there is nothing to set",
            hint="Give NAME=VALUE, or --from-findings after a trial that proposes a change.",
            where="set",
        )
    if not desk.reachable:
        return _hand_over(desk, wanted, proposals)
    before, kept_before = read_and_keep(desk, "before a change")
    _refuse_stale(proposals, named_values(before))
    lines = setting_lines(wanted, before)
    outcome = Outcome("set", named_values(before), kept_before=kept_before)
    return _send(desk, outcome, before, wanted, lines, proposals=proposals, store=store)


def undo(desk: Desk) -> dict[str, Any]:
    """Put back everything that the open calibration changed; returns `asleft.undo/1`."""
    changes = _changes_to_undo(desk)
    if not changes:
        raise RefusedError(
            "nothing was changed in this calibration",
            hint="`asleft restore` puts back a kept state of an earlier one.",
            where="undo",
        )
    wanted: dict[str, float] = {}
    for change in changes:  # oldest first: the first value before is the one as found
        for setting in change.settings:
            if setting["before"] is not None:
                wanted.setdefault(setting["axis"], setting["before"])
    if not desk.reachable:
        return _hand_over(desk, wanted, [], command="undo")
    before, kept_before = read_and_keep(desk, "before undoing")
    outcome = Outcome("undo", named_values(before), kept_before=kept_before)
    lines = setting_lines(wanted, before)
    told = _send(desk, outcome, before, wanted, lines, proposals=[], store=_was_stored(desk))
    if outcome.verified:
        for change in changes:
            desk.store.mark_change(change.id, "undone", {})
    return told


def restore(desk: Desk, number: int, *, everything: bool) -> dict[str, Any]:
    """Put back what a kept state holds; returns `asleft.restore/1`."""
    kept = desk.store.kept(number)
    now, kept_before = read_and_keep(desk, "before restoring")
    if kept.machine_id != desk.row.id:
        raise RefusedError(
            f"kept state {number} is of another machine",
            hint="Connect that machine, or name a kept state of this one.",
            where="restore",
        )
    wished = parse_report(kept.raw)
    lines = restore_lines(wished, now, everything=everything)
    outcome = Outcome("restore", named_values(now), kept_before=kept_before)
    values = named_values(wished)
    return _send(
        desk,
        outcome,
        now,
        values,
        lines,
        proposals=[],
        store=_was_stored(desk),
        wished=wished if everything else None,
    )


def _send(
    desk: Desk,
    outcome: Outcome,
    before: SettingsReport,
    wanted: Mapping[str, float],
    lines: Sequence[str],
    *,
    proposals: Sequence[ProposalRow],
    store: bool,
    wished: SettingsReport | None = None,
) -> dict[str, Any]:
    if not desk.person.confirm(_preview(desk, outcome, before, wanted, lines, store)):
        raise Stopped("not confirmed: nothing was sent", where=outcome.command)
    change = desk.store.start_change(
        desk.calibration(),
        kind=outcome.command,
        settings=_settings(outcome.before, wanted),
        proposal_ids=[proposal.id for proposal in proposals],
        kept_before=outcome.kept_before,
    )
    machine = desk.connect()
    outcome.sent = list(lines)
    desk.store.mark_change(change, "sent", {"lines": outcome.sent})
    refusals = machine.send_raw_settings(lines)
    after, outcome.kept_after = read_and_keep(desk, f"after {outcome.command}")
    outcome.read_back = named_values(after)
    if wished is not None:
        departed = difference(wished, after)
    else:
        departed = departures(before, after, wanted)
    problems = [*refusals, *(str(each) for each in departed)]
    outcome.verified = not problems
    desk.store.mark_change(
        change, "read_back", {"verified": outcome.verified, "values": outcome.read_back}
    )
    if problems:
        outcome.reason = "; ".join(problems)
    elif store:
        _store(desk, outcome, change, after)
    return outcome.to_dict()


def _store(desk: Desk, outcome: Outcome, change: int, live: SettingsReport) -> None:
    """Store everything live, then look at what storage really holds."""
    machine = desk.connect()
    outcome.stored = machine.store()
    if outcome.stored is not False:
        machine.reload_stored(discard_unstored=True)
        held, _ = read_and_keep(desk, "read from storage after storing")
        outcome.from_storage = named_values(held)
        lost = difference(live, held)
        outcome.stored = not lost
        if lost:
            outcome.reason = "storage holds other values: " + "; ".join(str(d) for d in lost)
            machine.send_raw_settings(restore_lines(live, held, everything=False))
            again, outcome.kept_after = read_and_keep(desk, "in force again after storing failed")
            outcome.read_back = named_values(again)
        else:
            desk.keep(held, "as stored", "from_storage")
    else:
        outcome.reason = "the machine did not store: " + (machine.last_words or "it gave no reason")
    desk.store.mark_change(
        change, "stored" if outcome.stored else "not_stored", {"values": outcome.from_storage}
    )


def _preview(
    desk: Desk,
    outcome: Outcome,
    before: SettingsReport,
    wanted: Mapping[str, float],
    lines: Sequence[str],
    store: bool,
) -> Ask:
    parts = [
        f"{name} {outcome.before.get(name, float('nan')):g} → {value:g}"
        for name, value in wanted.items()
    ]
    text = "Send " + "; ".join(lines) + " (" + ", ".join(parts) + ")?"
    if store:
        text += " " + _what_else_is_stored(desk, before, wanted)
    return Ask(
        f"{outcome.command}.confirm",
        text,
        cautions=(MOVES_LATER,),
        action="approve",
        details={"lines": list(lines), "before": outcome.before, "wanted": dict(wanted)},
    )


def _what_else_is_stored(desk: Desk, before: SettingsReport, wanted: Mapping[str, float]) -> str:
    differs = stored_differences(desk, before)
    if differs is None:
        return (
            "Storing keeps every value now in force, not only these; which others differ from"
            " storage is not known."
        )
    others = [text for text in differs if text.split()[0] not in wanted]
    if others:
        return "Storing also keeps what is in force but not in storage: " + "; ".join(others) + "."
    return "Nothing else in force differs from storage."


def _settings(before: Mapping[str, float], wanted: Mapping[str, float]) -> list[dict[str, Any]]:
    """A change as the store keeps it, in the words of the proposals."""
    return [
        {
            "setting": "skew" if name in SKEW_PLANES else "steps_per_mm",
            "axis": name,
            "before": before.get(name),
            "wanted": value,
        }
        for name, value in wanted.items()
    ]


def _findings(desk: Desk) -> tuple[dict[str, float], list[ProposalRow]]:
    """Names and values of the standing proposals to adjust, with the proposals."""
    standing = [
        row
        for row in desk.store.standing_proposals(desk.calibration())
        if row.details["place"] == "controller"
        and row.details["verdict"] == "adjust"
        and row.details["proposed"] is not None
    ]
    return {row.axis: row.details["proposed"] for row in standing}, standing


def _refuse_stale(proposals: Sequence[ProposalRow], now: Mapping[str, float]) -> None:
    """Old values must not be used twice: a proposal holds only on the state it was made on."""
    for proposal in proposals:
        name, basis = proposal.axis, proposal.details["in_force"]
        if basis is not None and abs(now.get(name, basis) - basis) > 1e-6 * max(1.0, abs(basis)):
            raise RefusedError(
                f"the proposal for {name} was made with {basis:g} in force; the machine now"
                f" holds {now[name]:g}",
                hint="Measure again with the present value.",
                where=name,
            )


def _changes_to_undo(desk: Desk) -> list[ChangeRow]:
    """What was sent or handed over in this calibration and not put back since."""
    return [
        change
        for change in desk.store.changes(desk.calibration())
        if change.kind == "set"
        and any(mark.state in ("sent", "handed_over") for mark in change.marks)
        and all(mark.state != "undone" for mark in change.marks)
    ]


def _was_stored(desk: Desk) -> bool:
    """Whether storage holds something of ours: then what is put back must be stored too."""
    return any(
        mark.state == "stored"
        for change in desk.store.changes(desk.calibration())
        for mark in change.marks
    )


def _hand_over(
    desk: Desk,
    wanted: Mapping[str, float],
    proposals: Sequence[ProposalRow],
    command: str = "set",
) -> dict[str, Any]:
    """The change as lines to enter by hand; it stays handed over until a fresh report agrees."""
    latest = desk.store.latest_kept(desk.row.id)
    if latest is None:
        raise InputError(
            "neither a port nor a kept state of this machine is known",
            hint="Give --port, or keep its settings first with `asleft found --report`.",
            where="set",
        )
    before = parse_report(latest.raw)
    _refuse_stale(proposals, named_values(before))
    outcome = Outcome(command, named_values(before), kept_before=latest.id, handed_over=True)
    outcome.by_hand = setting_lines(wanted, before)
    outcome.reason = "no port is known: enter these lines, then read the settings again"
    change = desk.store.start_change(
        desk.calibration(),
        kind=command,
        settings=_settings(outcome.before, wanted),
        proposal_ids=[proposal.id for proposal in proposals],
        kept_before=latest.id,
    )
    desk.store.mark_change(change, "handed_over", {"lines": outcome.by_hand})
    return outcome.to_dict()


def _without(values: Mapping[str, Any], *keys: str) -> dict[str, Any]:
    return {key: value for key, value in values.items() if key not in keys}
