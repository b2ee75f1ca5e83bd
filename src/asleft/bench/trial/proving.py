"""Proving a change: settings that outlast a power cycle, and a second piece foretold.

The prediction is filed before the first face of the second piece is read. Not for sending
anything: whoever wants a change back asks `changing`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from asleft.bench.change.found import named_values, read_and_keep
from asleft.bench.change.height import require_height
from asleft.bench.change.outcome import Outcome
from asleft.bench.change.waiting import as_entered, note_piece, settle, waits, words
from asleft.bench.desk import Desk, Standing
from asleft.bench.person import Ask
from asleft.bench.trial.estimating import entries_of, file_entries
from asleft.bench.trial.resuming import CUT_SHORT, is_the_same, restore_trial, still_in_force
from asleft.bench.trial.running import Run
from asleft.controller import SettingsReport, difference, parse_report
from asleft.errors import InputError, RefusedError, Stopped
from asleft.measure import DriveChange, Proof, SpanPrediction, predict_span, prove_span
from asleft.trials import Basis, Entry, Trial, build, span_readings

if TYPE_CHECKING:
    from asleft.record import KeptRow, TrialRow

# Boot loaders take up to 15 s (from memory, common practice, no source); doubled.
BANNER_WITHIN_S = 30.0

NOTHING_TO_SURVIVE = (
    "nothing was there to survive: in this calibration no change was stored, or entered by hand"
)

_OFF_AND_ON = Ask(
    "prove.power",
    "Switch the machine off at its own switch, wait until its lights are out, switch it on.",
    cautions=("Use the machine's switch, never the plug of a machine that is hot or moving.",),
    action="power_cycle",
)


def prove_power_cycle(desk: Desk, *, persons_word: bool) -> dict[str, Any]:
    """Read again after power was off and on, and compare with as left.

    Args:
        desk: store, person, machine.
        persons_word: the person has switched off and on already and says so; else the person
            is asked to do it now, with the line open, and a boot banner must come.
    """
    left = _as_left(desk)
    was_open = desk.connection is not None
    machine = desk.connect()
    outcome = Outcome("prove", named_values(parse_report(left.raw)), kept_before=left.id)
    machine.restarted(within_s=0.0)  # a banner of before is no proof of now
    banner: bool | None = None  # None: the person's word is all there is
    if persons_word:
        banner = (machine.facts.restarted_on_opening and not was_open) or None
    elif desk.person.confirm(_OFF_AND_ON):
        banner = machine.restarted(within_s=BANNER_WITHIN_S)
    else:
        raise Stopped("power was not switched off: nothing is proved", where="prove")
    if banner is False:
        outcome.reason = "no boot banner came: the machine was not seen to restart"
        return outcome.to_dict()
    if not banner:
        outcome.warnings.append("that power was off rests on your word: no boot banner was seen")
    after = machine.read_settings()
    if after.steps_untold:
        return _untold(desk, outcome, after)
    standing: Standing = "after_reset" if banner else "in_force"
    outcome.kept_after = desk.keep(after, "after a power cycle", standing)
    outcome.read_back = outcome.from_storage = named_values(after)
    lost = difference(parse_report(left.raw), after)
    outcome.verified = outcome.survived_power_cycle = not lost
    if not (lost or banner or _could_survive(desk)):
        outcome.survived_power_cycle = None
        outcome.reason = NOTHING_TO_SURVIVE
    if lost:
        outcome.reason = "after the power cycle the machine holds other values: " + "; ".join(
            str(d) for d in lost
        )
    _mark_survival(desk, outcome)
    settle(desk, after, standing)
    outcome.handed_over = waits(desk)
    return outcome.to_dict()


def _untold(desk: Desk, outcome: Outcome, after: SettingsReport) -> dict[str, Any]:
    """The steps stand in a file on the machine, and nothing on the line shows them."""
    outcome.kept_after = desk.keep(after, "after a power cycle", "after_reset")
    outcome.reason = (
        "the machine does not tell its steps, so whether they held cannot be read: look into its"
        " file, then prove them with a second piece"
    )
    outcome.handed_over = waits(desk)
    return outcome.to_dict()


def prove_piece(desk: Desk, options: Mapping[str, Any]) -> dict[str, Any]:
    """Predict a second piece, read it, and say whether it came out inside the prediction."""
    calibration = desk.calibration()
    first_row = _first_span(desk)
    first, basis = restore_trial(first_row)
    open_row = _to_go_on_with(desk, calibration)
    taken = options.get("readings")
    if open_row is not None:
        is_the_same(open_row, options)
        trial, _ = restore_trial(open_row)
        trial_id = open_row.id
        still_in_force(desk, open_row, trial)
    else:
        trial = build("proof", {**first.parameters, "earlier": (), "directions": ()})
        entries = entries_of(desk, first, first_row.id)
        trial_id = _begin(desk, trial, basis, entries, file_only=taken is not None)
    if taken is not None:
        file_entries(desk, trial, trial_id, trial.entries(taken[0], name=taken[1]))
    else:
        require_height(desk)
        Run(desk, trial, trial_id).go()
    return _judge(desk, trial, trial_id)


def _to_go_on_with(desk: Desk, calibration: int) -> TrialRow | None:
    """The unfinished proof; one that was cut short before it was foretold, or filed, is ended."""
    row = desk.store.unfinished_trial(calibration, "proof")
    if row is None or (row.steps and desk.store.prediction_of(row.id)):
        return row
    desk.store.end_trial(row.id, "failed", CUT_SHORT, None)
    return None


def _begin(
    desk: Desk, trial: Trial, basis: Basis, first_entries: Sequence[Entry], *, file_only: bool
) -> int:
    """File the proof trial and, before any face is read, what it is expected to show."""
    if desk.reachable:
        now, kept = read_and_keep(desk, "before the proof piece")
    else:
        latest = desk.store.latest_kept(desk.row.id)
        if latest is None:
            raise InputError("no settings are kept", hint="Run `asleft found`.", where="prove")
        now, kept = parse_report(latest.raw), latest.id
    now, kept = as_entered(desk, now, kept)
    prediction = predict(trial, basis, first_entries, now)
    trial_id = desk.store.start_trial(
        desk.calibration(),
        "proof",
        parameters={"trial": trial.parameters, "basis": basis.to_dict()},
        steps=[] if file_only else [step.key for step in trial.steps],
        kept_id=kept,
        instrument=basis.instrument.to_dict(),
        making={"name": "as the first piece"},
    )
    desk.store.add_prediction(desk.calibration(), trial_id, prediction.to_dict())
    return trial_id


def predict(
    trial: Trial, basis: Basis, first_entries: Sequence[Entry], now: SettingsReport
) -> SpanPrediction:
    """What a second piece should show under `now`, from the readings of the first."""
    return predict_span(
        span_readings(first_entries),
        trial.piece.places(),  # type: ignore[attr-defined]
        instrument=basis.instrument,
        steps_before=basis.in_force,
        steps_after={axis: v for axis, v in now.steps_per_mm.items() if v is not None},
        skew_before=basis.skew,
        skew_after=now.skew,
        drive=DriveChange(basis.drive, basis.arms, now.arms),
    )


def _judge(desk: Desk, trial: Trial, trial_id: int) -> dict[str, Any]:
    stored = desk.store.prediction_of(trial_id)
    if stored is None:
        raise InputError("no prediction was filed", hint="Run `asleft prove`.", where="prove")
    prediction = SpanPrediction.from_dict(stored.details)
    proof = prove_span(prediction, span_readings(entries_of(desk, trial, trial_id)))
    outcome = Outcome("prove")
    outcome.verified = proof.holds
    outcome.predicted = _faces(prediction, proof)
    outcome.chi2, outcome.dof, outcome.p = proof.chi2, proof.dof, proof.p
    outcome.reason = proof.reason
    outcome.warnings = words(desk)
    if proof.holds:
        note_piece(desk)
    outcome.handed_over = waits(desk)
    told = {**proof.to_dict(), "predicted": outcome.predicted}
    desk.store.end_trial(trial_id, "done", proof.reason, told)
    return outcome.to_dict()


def _faces(prediction: SpanPrediction, proof: Proof) -> list[dict[str, Any]]:
    """Every place: what was foretold beside what was read; None where it does not count."""
    read = {place.label: place for place in proof.places}
    faces = []
    for place in prediction.places:
        proved = read.get(place.label)
        faces.append(
            {
                "label": place.label,
                "direction": place.direction,
                "faces": place.faces,
                "nominal_mm": place.nominal_mm,
                "predicted_mm": place.predicted_mm,
                "u_mm": place.u_mm,
                "low95_mm": proved.low95_mm if proved else place.low95_mm,
                "high95_mm": proved.high95_mm if proved else place.high95_mm,
                "reading_mm": proved.reading_mm if proved else None,
                "inside": proved.inside if proved else None,
            }
        )
    return faces


def _first_span(desk: Desk) -> TrialRow:
    done = [
        t for t in desk.store.trials(desk.calibration()) if t.kind == "span" and t.outcome == "done"
    ]
    if not done:
        raise RefusedError(
            "a second piece proves nothing before a first one was read",
            hint="Run `asleft trial span` first.",
            where="prove",
        )
    return done[-1]


def _as_left(desk: Desk) -> KeptRow:
    """The state read after the last change, or as found where nothing was changed.

    Never one that was merely read later: it would only show what is already lost.
    """
    kept_here = desk.kept_here()
    if not kept_here:
        raise RefusedError(
            "no settings of this machine are kept in this calibration",
            hint="Run `asleft found` before power goes off.",
            where="prove",
        )
    marks = [mark for change in desk.store.changes(desk.calibration()) for mark in change.marks]
    left = [mark.details["kept"] for mark in marks if mark.details.get("kept")]
    return desk.kept(left[-1]) if left else kept_here[0]


def _could_survive(desk: Desk) -> bool:
    """Whether anything was stored in this calibration, or handed over to be entered."""
    marks = [mark for change in desk.store.changes(desk.calibration()) for mark in change.marks]
    return any(mark.state in ("stored", "handed_over") for mark in marks)


def _mark_survival(desk: Desk, outcome: Outcome) -> None:
    for change in desk.store.changes(desk.calibration()):
        if any(mark.state == "stored" for mark in change.marks):
            desk.store.mark_change(
                change.id, "power_cycled", {"survived": outcome.survived_power_cycle}
            )
