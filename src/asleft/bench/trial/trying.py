"""A trial from the person's wish to its result: begun or resumed, run, concluded.

On what it rests is decided in `basing`, whether an unfinished one may go on in `resuming`; the
steps themselves are run by `running`.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from asleft.bench.change.height import moves, require_height
from asleft.bench.desk import Desk
from asleft.bench.trial.basing import basis_for, kept_state
from asleft.bench.trial.estimating import conclude, file_entries, report
from asleft.bench.trial.leaning import lean
from asleft.bench.trial.resuming import can_go_on, is_the_same, restore_trial, still_in_force
from asleft.bench.trial.running import Run
from asleft.errors import AsleftError, RefusedError, Stopped
from asleft.trials import Basis, Trial, build, check, for_machine

if TYPE_CHECKING:
    from asleft.record import KeptRow, TrialRow


def attempt(desk: Desk, kind: str, options: Mapping[str, Any]) -> dict[str, Any]:
    """Begin or resume one trial of a kind, run it and conclude it.

    Returns:
        `asleft.trial/1`.

    Raises:
        RefusedError: outside the machine's limits, or resting on a state no longer in force.
        LineError, MachineError, Stopped: what was read so far is kept, the trial stays open.
    """
    unfinished = desk.store.unfinished_trial(desk.calibration(), kind)
    if unfinished is not None and can_go_on(desk, unfinished, anew=bool(options.get("anew"))):
        return _resume(desk, unfinished, options)
    if options.get("more"):
        return _read_more(desk, kind)
    on_paper = options.get("readings") is not None
    machine = desk.description_unconnected if on_paper else desk.description
    trial = for_machine(kind, options, machine)
    if not on_paper:
        check(trial, machine)
    kept = kept_state(desk, trial, options)
    basis = lean(desk, trial, basis_for(desk, kept, options))
    taken = options.get("readings")
    if taken is None and moves(trial):
        require_height(desk)
    trial_id = _start(desk, trial, basis, kept, options)
    if taken is not None:
        return _file_and_conclude(desk, trial, trial_id, basis, taken)
    return _run_and_conclude(desk, trial, trial_id, basis)


def _resume(desk: Desk, row: TrialRow, options: Mapping[str, Any]) -> dict[str, Any]:
    is_the_same(row, options)
    trial, basis = restore_trial(row)
    still_in_force(desk, row, trial)
    if moves(trial):
        require_height(desk)
    return _run_and_conclude(desk, trial, row.id, basis)


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
    both = ("X", "Y")  # a delta's arms show in X and Y alike
    along = {"X": ("X",), "Y": ("Y",), "Z": ("Z",), "L": both, "R": both}
    found = (d for axis in asked for d in along.get(axis, (f"{axis}+", f"{axis}-")))
    return tuple(dict.fromkeys(found))


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


def _run_and_conclude(desk: Desk, trial: Trial, trial_id: int, basis: Basis) -> dict[str, Any]:
    try:
        Run(desk, trial, trial_id).go()
    except Stopped as stop:
        if stop.where == "standard input":
            told = report(desk, trial_id)
            return {**told, "outcome": "stopped", "reason": stop.message}
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
