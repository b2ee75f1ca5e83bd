"""Whether an unfinished trial may go on, and whether that is what the person asked for.

An unfinished trial is never taken for a new one with other wishes, and never goes on under
other settings than it began with.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from asleft.bench.change.found import read_and_keep
from asleft.bench.desk import Desk
from asleft.bench.trial.basing import SHRINKAGE
from asleft.controller import difference, parse_report
from asleft.errors import RefusedError
from asleft.pieces import FitPiece, SpanPiece
from asleft.trials import Basis, Trial, build

if TYPE_CHECKING:
    from asleft.record import TrialRow


CUT_SHORT = "it was cut short as it began"
INSTEAD = "another one was begun instead"


def restore_trial(row: TrialRow) -> tuple[Trial, Basis]:
    """A trial and its basis as the store keeps them."""
    return (
        build(row.kind, row.parameters["trial"]),
        Basis.from_dict(row.parameters["basis"]),
    )


def is_the_same(row: TrialRow, options: Mapping[str, Any]) -> None:
    """Refuse to go on with a trial when the person asks for another one.

    Raises:
        RefusedError: names what was asked otherwise.
    """
    trial, basis = restore_trial(row)
    given = {key: value for key, value in options.items() if value is not None}
    is_more = bool(trial.parameters.get("earlier"))
    asked = ["--readings"] if given.get("readings") else []
    asked += ["--more"] if given.get("more") and not is_more else []
    other = build(row.kind, {**trial.parameters, **given})
    wished = other.parameters
    asked += [
        f"{name} {_said(wished[name])} (it has {_said(held)})"
        for name, held in trial.parameters.items()
        if wished[name] != held and not (name == "piece" and _read_alike(other, trial))
    ]
    asked += [
        name
        for name, held in _held(row, basis).items()
        if given.get(name) is not None and given[name] != held
    ]
    if asked:
        raise RefusedError(
            f"a {row.kind} trial begun {row.at[:16].replace('T', ' ')} is unfinished, and this asks"
            f" for another one: {', '.join(asked)}",
            hint="Leave them out to go on with it, or add --anew to end it and begin again.",
            where=row.kind,
        )


def _read_alike(one: Trial, other: Trial) -> bool:
    """Whether two trials read the same places: the rest of a piece follows bed and nozzle."""
    a, b = getattr(one, "piece", None), getattr(other, "piece", None)
    if not (isinstance(a, (SpanPiece, FitPiece)) and isinstance(b, (SpanPiece, FitPiece))):
        return False
    return a.places() == b.places()


def _said(value: Any) -> str:
    """A parameter in few words."""
    return f"{value:g}" if isinstance(value, float) else str(value)


def _held(row: TrialRow, basis: Basis) -> dict[str, Any]:
    """What an unfinished trial rests on, by the names of the options."""
    return {
        "kept": row.kept_id,
        "instrument": basis.instrument.name,
        "tolerance": basis.tolerance,
        **{name: getattr(basis, name) for name in SHRINKAGE},
    }


def can_go_on(desk: Desk, row: TrialRow, *, anew: bool) -> bool:
    """Whether to go on with an unfinished trial; else it is ended, its readings in the record.

    Args:
        desk: store and person.
        row: the unfinished trial.
        anew: the person wants to begin another one.
    """
    trial, _ = restore_trial(row)
    if not row.steps:  # a file of readings is filed in one go: there is nothing to go on with
        desk.store.end_trial(row.id, "failed", CUT_SHORT, None)
        return False
    if anew:
        desk.store.end_trial(row.id, "stopped", INSTEAD, None)
    elif not trial.resumable:
        reason = "it was interrupted, and its readings do not go together with new ones"
        desk.store.end_trial(row.id, "failed", reason, None)
        desk.person.tell(f"The unfinished {row.kind} trial has ended: {reason}. It begins anew.")
    return trial.resumable and not anew


def give_up(desk: Desk, kind: str) -> None:
    """End the unfinished trial of a kind, where there is one."""
    calibration = desk.open_calibration()
    row = None if calibration is None else desk.store.unfinished_trial(calibration, kind)
    if row is not None:
        desk.store.end_trial(row.id, "stopped", INSTEAD, None)


def still_in_force(desk: Desk, row: TrialRow, trial: Trial) -> None:
    """End a trial whose readings or piece would rest on settings no longer in force.

    Raises:
        RefusedError: with what changed; the trial has ended.
    """
    done = {mark.key for mark in desk.store.steps(row.id) if mark.state == "done"}
    printed = not trial.needs_line and any(key.endswith(".print") for key in done)
    if printed or row.kept_id is None or not desk.reachable or not row.steps:
        return
    before = parse_report(desk.kept(row.kept_id).raw)
    now = read_and_keep(desk, "before going on with a trial")[0]
    changed = difference(before, now)
    if changed:
        reason = "the machine's settings changed since this trial began: " + "; ".join(
            str(c) for c in changed
        )
        desk.store.end_trial(row.id, "failed", reason, None)
        raise RefusedError(reason, hint="Begin the trial anew.", where=row.kind)
