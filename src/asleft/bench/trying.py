"""A trial from the person's wish to its result: begun or resumed, run, concluded.

Decides on what the trial rests (which kept state, which instrument) and whether it can go on
after an interruption. The steps themselves are run by `running`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from asleft.bench.desk import Desk
from asleft.bench.estimating import conclude, file_entries, report
from asleft.bench.found import read_and_keep
from asleft.bench.running import Run
from asleft.controller import SettingsReport, difference, parse_report
from asleft.errors import AsleftError, InputError, RefusedError, Stopped
from asleft.measure import Instrument, Tolerance
from asleft.trials import Basis, Trial, build, check

if TYPE_CHECKING:
    from asleft.record import KeptRow, TrialRow

BASIS_OPTIONS = ("shrinkage", "shrinkage_u", "shrinkage_to")


def attempt(desk: Desk, kind: str, options: Mapping[str, Any]) -> dict[str, Any]:
    """Begin or resume one trial of a kind, run it and conclude it.

    Returns:
        `asleft.trial/1`.

    Raises:
        RefusedError: outside the machine's limits, or resting on a state no longer in force.
        LineError, MachineError, Stopped: what was read so far is kept, the trial stays open.
    """
    unfinished = desk.store.unfinished_trial(desk.calibration(), kind)
    if unfinished is not None:
        return _resume(desk, unfinished)
    if options.get("more"):
        return _read_more(desk, kind)
    trial = build(kind, options)
    check(trial, desk.description)
    kept = _kept_state(desk, trial, options)
    basis = _basis(desk, kept, options)
    trial_id = _start(desk, trial, basis, kept, options)
    taken = options.get("readings")
    if taken is not None:
        return _file_and_conclude(desk, trial, trial_id, basis, taken)
    return _run_and_conclude(desk, trial, trial_id, basis)


def _read_more(desk: Desk, kind: str) -> dict[str, Any]:
    """Read the piece of the last trial again where its verdict asked for more."""
    done = [
        t for t in desk.store.trials(desk.calibration()) if (t.kind, t.outcome) == (kind, "done")
    ]
    directions = _undecided(done[-1]) if done else ()
    if not directions:
        raise RefusedError(
            "no trial of this kind asks for more readings in this calibration",
            hint="Leave --more out to print and read a new piece.",
            where="--more",
        )
    last = done[-1]
    before, basis = restore_trial(last)
    again = {"earlier": (last.id, *before.earlier), "directions": directions}
    trial = build(kind, {**before.parameters, **again})
    trial_id = desk.store.start_trial(
        desk.calibration(),
        kind,
        parameters={"trial": trial.parameters, "basis": basis.to_dict()},
        steps=[step.key for step in trial.steps],
        kept_id=last.kept_id,
        instrument=last.instrument,
        making=last.making,
    )
    return _run_and_conclude(desk, trial, trial_id, basis)


def _undecided(row: TrialRow) -> tuple[str, ...]:
    """The directions in which a span trial's verdicts ask for more readings."""
    asked = [
        p["axis"]
        for p in (row.result or {}).get("proposals", ())
        if p["place"] == "controller" and p["verdict"] == "measure_more"
    ]
    along = {"X": ("X",), "Y": ("Y",), "Z": ("Z",)}
    return tuple(d for axis in asked for d in along.get(axis, (f"{axis}+", f"{axis}-")))


def _start(
    desk: Desk, trial: Trial, basis: Basis, kept: KeptRow, options: Mapping[str, Any]
) -> int:
    taken = options.get("readings")
    if taken is not None:
        trial.entries(taken[0], name=taken[1])  # refuse a bad file before anything is stored
    return desk.store.start_trial(
        desk.calibration(),
        trial.kind,
        parameters={"trial": trial.parameters, "basis": basis.to_dict()},
        steps=[] if taken else [step.key for step in trial.steps],
        kept_id=kept.id,
        instrument=basis.instrument.to_dict(),
        making={"name": options.get("making") or "as printed"},
    )


def restore_trial(row: TrialRow) -> tuple[Trial, Basis]:
    """A trial and its basis as the store keeps them."""
    return (
        build(row.kind, row.parameters["trial"]),
        Basis.from_dict(row.parameters["basis"]),
    )


def _resume(desk: Desk, row: TrialRow) -> dict[str, Any]:
    trial, basis = restore_trial(row)
    if trial.needs_line and desk.reachable and row.kept_id is not None:
        _still_in_force(desk, row, desk.kept(row.kept_id))
    return _run_and_conclude(desk, trial, row.id, basis)


def _still_in_force(desk: Desk, row: TrialRow, kept: KeptRow) -> None:
    """End a trial whose readings began under other settings than are in force now."""
    before = parse_report(kept.raw)
    now = read_and_keep(desk, "before going on with a trial")[0]
    changed = difference(before, now)
    if changed:
        reason = "the machine's settings changed since this trial began: " + "; ".join(
            str(c) for c in changed
        )
        desk.store.end_trial(row.id, "failed", reason, None)
        raise RefusedError(reason, hint="Begin the trial anew.", where=row.kind)


def _run_and_conclude(desk: Desk, trial: Trial, trial_id: int, basis: Basis) -> dict[str, Any]:
    try:
        Run(desk, trial, trial_id).go()
    except Stopped as stop:
        if stop.where == "standard input":
            desk.store.end_trial(trial_id, "stopped", stop.message, None)
            return report(desk, trial_id)
        raise
    except AsleftError as error:
        desk.person.tell("The readings taken so far are kept; the same command goes on with them.")
        raise error
    return conclude(desk, trial, trial_id, basis)


def _file_and_conclude(
    desk: Desk, trial: Trial, trial_id: int, basis: Basis, taken: tuple[str, str]
) -> dict[str, Any]:
    file_entries(desk, trial, trial_id, trial.entries(taken[0], name=taken[1]))
    return conclude(desk, trial, trial_id, basis)


def _kept_state(desk: Desk, trial: Trial, options: Mapping[str, Any]) -> KeptRow:
    """The state in force when the readings are, or the piece was, made."""
    chosen = options.get("kept")
    if chosen is not None:
        return _chosen_state(desk, int(chosen))
    if desk.reachable and options.get("readings") is None:
        return desk.kept(read_and_keep(desk, f"before the trial {trial.kind}")[1])
    latest = desk.store.latest_kept(desk.row.id)
    if latest is None:
        raise InputError(
            "no settings of this machine are kept yet",
            hint="Run `asleft found` first, on its port, with --report or with --steps.",
            where=trial.kind,
        )
    return latest


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


def _basis(desk: Desk, kept: KeptRow, options: Mapping[str, Any]) -> Basis:
    report_: SettingsReport = parse_report(kept.raw)
    given = {key: options[key] for key in BASIS_OPTIONS if options.get(key) is not None}
    steps = {axis: value for axis, value in report_.steps_per_mm.items() if value is not None}
    return Basis(
        instrument=_instrument(desk, options.get("instrument")),
        in_force=steps,
        skew=report_.skew,
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
