"""On what a trial rests: which kept state, which instrument, what is known of shrinkage.

Chosen when the trial begins and stored with it. Refuses a state that is no longer in force.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from asleft.bench.change.found import read_and_keep
from asleft.bench.change.handing import latest_told
from asleft.bench.change.waiting import unseen
from asleft.bench.desk import Desk
from asleft.controller import difference, parse_report
from asleft.errors import InputError, RefusedError
from asleft.measure import Instrument, Tolerance
from asleft.trials import Basis, Trial

if TYPE_CHECKING:
    from asleft.record import KeptRow

SHRINKAGE = ("shrinkage", "shrinkage_u", "shrinkage_to")


def kept_state(desk: Desk, trial: Trial, options: Mapping[str, Any]) -> KeptRow:
    """The state in force when the readings are, or the piece was, made.

    Raises:
        InputError: none is kept yet.
        RefusedError: the one chosen was overtaken by a change.
    """
    chosen = options.get("kept")
    if chosen is not None:
        return _chosen_state(desk, int(chosen))
    latest = None
    if desk.reachable and options.get("readings") is None:
        latest = desk.kept(read_and_keep(desk, f"before the trial {trial.kind}")[1])
        if latest.standing not in ("typed", "pasted"):
            return latest
    latest = latest or latest_told(desk) or desk.store.latest_kept(desk.row.id)
    if latest is None:
        raise InputError(
            "no settings of this machine are kept yet",
            hint="Run `asleft found` first, on its port, with --report or with --steps.",
            where=trial.kind,
        )
    _refuse_unsettled(desk, latest)
    return latest


def _refuse_unsettled(desk: Desk, latest: KeptRow) -> None:
    """What was handed over after the state was kept may be in force by now, or not."""
    for change in unseen(desk):
        if change.at > latest.at:
            raise RefusedError(
                f"change {change.id} was handed over after the settings were kept, and whether it"
                " is in force is not known",
                hint="Keep them again: `asleft found`, on its port, with --report or --steps.",
                where=f"change {change.id}",
            )


def _chosen_state(desk: Desk, number: int) -> KeptRow:
    kept = desk.kept(number)
    later = desk.store.latest_kept(desk.row.id)
    if later is not None and difference(parse_report(kept.raw), parse_report(later.raw)):
        raise RefusedError(
            f"the settings were changed after kept state {number}",
            hint="Print and read a new piece, or put that state back first.",
            where="--kept",
        )
    return kept


def basis_for(desk: Desk, kept: KeptRow, options: Mapping[str, Any]) -> Basis:
    """Instrument, settings in force, drive and shrinkage, frozen for the trial."""
    report = parse_report(kept.raw)
    given = {key: options[key] for key in SHRINKAGE if options.get(key) is not None}
    return Basis(
        instrument=_instrument(desk, options.get("instrument")),
        in_force={axis: v for axis, v in report.steps_per_mm.items() if v is not None},
        skew=report.skew,
        arms=report.arms,
        drive=desk.description.drive,
        geometry=desk.description.geometry_steps_per_mm,
        tolerance=options.get("tolerance") or Tolerance(),
        **given,
    )


def _instrument(desk: Desk, name: str | None) -> Instrument:
    described = desk.store.instruments()
    if name is not None:
        row = desk.store.instrument(name)
        if row is None:
            raise InputError(
                f"no instrument is called {name!r}",
                hint="`asleft instrument list` shows those described.",
                where="--instrument",
            )
        return Instrument.from_dict(row.description)
    if len(described) == 1:
        return Instrument.from_dict(described[0].description)
    assumed = Instrument()
    desk.person.tell(
        f"No instrument is named: a caliper of {assumed.resolution_mm:g} mm, permissible error"
        f" {assumed.mpe_mm:g} mm, reach {assumed.reach_mm:g} mm is assumed."
    )
    return assumed
