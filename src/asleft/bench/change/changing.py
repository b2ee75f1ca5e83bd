"""What to change: named values, standing findings, or back to what was kept.

Decides and refuses; `sending` does it. Without a line, the same change comes out as lines to
enter by hand and stays handed over until a fresh report agrees.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from asleft.bench.change.far import need_meant
from asleft.bench.change.found import named_values, read_and_keep
from asleft.bench.change.handing import hand_over, in_file, latest_told
from asleft.bench.change.outcome import Outcome
from asleft.bench.change.sending import Change, send
from asleft.bench.desk import Desk
from asleft.controller import (
    SettingsReport,
    departures,
    lines_by_hand,
    parse_report,
    restore_lines,
    setting_lines,
)
from asleft.errors import InputError, RefusedError

if TYPE_CHECKING:
    from asleft.record import ChangeRow

Proposal = Mapping[str, Any]


def set_values(
    desk: Desk,
    values: Mapping[str, float] | None,
    *,
    from_findings: bool,
    store: bool,
    far: bool = False,
) -> dict[str, Any]:
    """Set named values, or those of the standing proposals; returns `asleft.set/1`.

    With `store` and nothing to set, what is in force is stored. `far` says that named values far
    from those in force are meant; else the person is asked.
    """
    wanted: dict[str, float] = dict(values or {})
    proposals: list[Proposal] = []
    if from_findings:
        proposals = _findings(desk)
        wanted = {p["axis"]: _to_enter(p) for p in proposals}
        if not wanted:
            _nothing_found(desk, store)
    if not wanted and not store:
        raise InputError(
            "there is nothing to set",
            hint="Give NAME=VALUE, or --from-findings after a trial that proposes a change.",
            where="set",
        )
    typed = {} if far or from_findings else wanted
    if not desk.reachable:
        return _handed_over(desk, wanted, proposals, typed)
    before, kept_before = read_and_keep(desk, "before a change")
    if in_file(desk, kept_before):
        return _handed_over(desk, wanted, proposals, typed)
    _refuse_stale(desk, proposals, before)
    change = Change(
        before,
        kept_before,
        wanted,
        setting_lines(wanted, before) if wanted else [],
        store,
        [p["id"] for p in proposals],
    )
    need_meant(desk, named_values(before), typed)
    outcome = Outcome("set")
    send(desk, outcome, change)
    return outcome.to_dict()


def undo(desk: Desk) -> dict[str, Any]:
    """Put back everything that the open calibration changed; returns `asleft.undo/1`."""
    changes = _changes_to_undo(desk)
    if not changes:
        undone = any(change.state == "undone" for change in _changes(desk))
        raise RefusedError(
            "what was changed in this calibration was put back already"
            if undone
            else "nothing was changed in this calibration",
            hint="`asleft restore` puts back a kept state of an earlier one.",
            where="undo",
        )
    wanted: dict[str, float] = {}
    for change in changes:  # oldest first: the first value before is the one as found
        for setting in change.settings:
            if setting["before"] is not None:
                wanted.setdefault(setting["axis"], setting["before"])
    if not desk.reachable:
        return hand_over(desk, "undo", wanted, [])
    before, kept_before = read_and_keep(desk, "before undoing")
    if in_file(desk, kept_before):
        return hand_over(desk, "undo", wanted, [])
    outcome = Outcome("undo")
    if any(change.kind == "restore" for change in changes):
        first = desk.kept_in(changes[0].calibration_id)[0]
        as_found = parse_report(first.raw)
        lines = restore_lines(as_found, before, everything=True)
    else:
        as_found, lines = None, setting_lines(wanted, before)
    storing = _storage_may_differ(desk)
    send(desk, outcome, Change(before, kept_before, wanted, lines, storing, whole=as_found))
    if outcome.verified:
        for change in changes:
            desk.store.mark_change(change.id, "undone", {})
    return outcome.to_dict()


def restore(desk: Desk, number: int, *, everything: bool) -> dict[str, Any]:
    """Put back what a kept state holds; returns `asleft.restore/1`."""
    if desk.reachable:  # who is on the port says whose kept state it must be
        desk.connect()
    kept = parse_report(desk.kept(number).raw)
    if not desk.reachable:
        return _restore_by_hand(desk, kept, everything=everything)
    now, kept_before = read_and_keep(desk, "before restoring")
    if in_file(desk, kept_before):
        return _restore_by_hand(desk, kept, everything=everything)
    change = Change(
        now,
        kept_before,
        named_values(kept),
        restore_lines(kept, now, everything=everything),
        store=_storage_may_differ(desk),
        whole=kept if everything else None,
    )
    outcome = Outcome("restore")
    if everything:  # entries of a configuration file cannot be sent: a hand must put them back
        outcome.by_hand = lines_by_hand(kept, now)
    send(desk, outcome, change)
    return outcome.to_dict()


def _handed_over(
    desk: Desk,
    wanted: Mapping[str, float],
    proposals: Sequence[Proposal],
    typed: Mapping[str, float],
) -> dict[str, Any]:
    """Lines to enter, where the proposals still hold on what is known to be in force."""
    latest = latest_told(desk)
    if latest is not None:
        now = parse_report(latest.raw)
        _refuse_stale(desk, proposals, now)
        need_meant(desk, named_values(now), typed)
    return hand_over(desk, "set", wanted, proposals)


def _restore_by_hand(desk: Desk, kept: SettingsReport, *, everything: bool) -> dict[str, Any]:
    """The lines of a kept state that differ from what is known to be in force."""
    latest = latest_told(desk)
    now = parse_report(latest.raw) if latest else kept
    values = named_values(now)
    wanted = {n: v for n, v in named_values(kept).items() if values.get(n) != v}
    lines = restore_lines(kept, now, everything=everything)
    if everything:
        lines += lines_by_hand(kept, now)
    if not (wanted or lines):
        raise RefusedError(
            "nothing differs from what is known to be in force",
            hint="Keep the settings first: `asleft found --report FILE`.",
            where="restore",
        )
    return hand_over(desk, "restore", wanted, [], lines=lines)


def _to_enter(proposal: Proposal) -> float:
    """The proposed value with as many digits as mean something and a hand copies well."""
    value: float = proposal["proposed"]
    return round(value, 6 if proposal["setting"] == "skew" else 4)


def _nothing_found(desk: Desk, store: bool) -> None:
    """No finding to set: there may still be a change of this evening to store.

    Raises:
        RefusedError: handed over and waited for, or nothing to set and nothing of ours to store.
    """
    waiting = [c for c in _changes_to_undo(desk) if c.state == "handed_over"]
    if waiting:
        lines = [line for change in waiting for line in change.marks[0].details["lines"]]
        raise RefusedError(
            "the findings were handed over already: " + "; ".join(lines),
            hint="Enter these lines, then read the settings again with `asleft found`.",
            where="--from-findings",
        )
    unstored = [c for c in _changes_to_undo(desk) if c.state == "read_back"]
    if not (store and unstored):
        raise RefusedError(
            "there is nothing to set: no finding supports a change that was not made already",
            hint="Run a trial first. `asleft set --store` alone stores what is in force.",
            where="--from-findings",
        )


def _findings(desk: Desk) -> list[Proposal]:
    """The standing proposals to adjust something in the controller."""
    calibration = desk.open_calibration()
    if calibration is None:
        return []
    return [
        row
        for row in desk.store.standing_proposals(calibration)
        if row["place"] == "controller"
        and row["verdict"] == "adjust"
        and row["proposed"] is not None
    ]


def _refuse_stale(desk: Desk, proposals: Sequence[Proposal], report: SettingsReport) -> None:
    """Old values must not be used twice: a proposal holds only on the state it was made on."""
    now = named_values(report)
    for proposal in proposals:
        name, basis = proposal["axis"], proposal["in_force"]
        if basis is None or abs(now.get(name, basis) - basis) <= 1e-6 * max(1.0, abs(basis)):
            continue
        if not _cut_short(desk, proposal, report):
            raise RefusedError(
                f"the proposal for {name} was made with {basis:g} in force; the machine now"
                f" holds {now[name]:g}",
                hint="Measure again with the present value.",
                where=name,
            )


def _cut_short(desk: Desk, proposal: Proposal, now: SettingsReport) -> bool:
    """Whether its own value is in force: it was sent, and the program ended before reading back.

    It may be sent again where everything that was not sent with it is as it was before.
    """
    changes = desk.store.changes(desk.calibration())
    sent = [c for c in changes if c.state == "sent" and proposal["id"] in c.proposal_ids]
    if not sent or sent[0].kept_before is None:
        return False
    before, values = parse_report(desk.kept(sent[0].kept_before).raw), named_values(now)
    theirs = {s["axis"]: values[s["axis"]] for s in sent[0].settings if s["axis"] in values}
    wanted = {proposal["axis"]: _to_enter(proposal)}
    return not departures(before, now, theirs) and not departures(now, now, wanted)


def _changes(desk: Desk) -> list[ChangeRow]:
    """All changes of the latest calibration, oldest first."""
    calibration = desk.latest_calibration()
    return desk.store.changes(calibration) if calibration else []


def _changes_to_undo(desk: Desk) -> list[ChangeRow]:
    """What was sent or handed over in the latest calibration and not put back since."""
    return [
        change
        for change in _changes(desk)
        if change.kind != "undo"
        and any(mark.state in ("sent", "handed_over") for mark in change.marks)
        and all(mark.state != "undone" for mark in change.marks)
    ]


def _storage_may_differ(desk: Desk) -> bool:
    """Whether storing was ever begun in this calibration: then what goes back is stored, too."""
    return any(
        mark.state in ("stored", "not_stored") or mark.details.get("store")
        for change in _changes(desk)
        for mark in change.marks
    )
