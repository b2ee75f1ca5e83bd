"""What a case came to, judged by what really happened and not by the code under test.

Four questions: was a wrong value believed, are the heaters off, is the cold-feed guard on, does a
failure say what was awaited and what was heard. Reads the store as a file of facts and the board's
own memory. Not for how long it took.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchmarks.faults.stage import WISHED_MM

from asleft.errors import AsleftError, LineError, MachineError, MachineResetError
from asleft.practice.words.settings import Values
from asleft.record import Store

if TYPE_CHECKING:
    from benchmarks.faults.case import Ran, Run
    from benchmarks.faults.stage import Held, Stage

DIGITS = 0.006
"""A value printed with two digits can be off by half of the last one (and six for skew)."""
STOPS_WITHIN_S, SOONER_S = 5.0, 3.0
FED_WITHIN_MM = 0.05
SKEW = dict(zip(("XY", "XZ", "YZ"), "IJK", strict=True))
UNCONFIRMED = "could NOT be confirmed"


def judge(
    stage: Stage, ran: Ran, home: Path, command: str, again: Callable[[Run], Ran]
) -> tuple[str, str]:
    """The outcome, and why.

    Args:
        stage: the machine with the truth.
        ran: what the command came to.
        home: where its store is.
        command: its name.
        again: runs another command on the same machine.
    """
    found = [*_believed(stage, ran, home, command), *_left(stage, ran)]
    if ran.broke:
        kind = "wrong" if ran.broke.startswith("bug") else "hang"
        found.append(ran.broke)
        return kind, "; ".join(found)
    found += [*_said(stage, ran), *_afterwards(stage, ran, again)]
    if found:
        return "wrong", "; ".join(found)
    if ran.error is not None:
        return "refused", f"{type(ran.error).__name__}: {ran.error.message}"
    assert ran.result is not None
    reason = str(ran.result.get("reason") or "")
    return ("right", reason) if _is_done(ran.result) else ("refused", reason)


def _is_done(result: Mapping[str, Any]) -> bool:
    asked = {"complete": True, "verified": True, "outcome": "done", "stored": True}
    return all(result[key] == value for key, value in asked.items() if key in result)


# Values


def _believed(stage: Stage, ran: Ran, home: Path, command: str) -> Iterator[str]:
    """Wrong values that were told or filed."""
    held = stage.truth.held
    with Store.open(home) as store:
        row = store.machines()[0]
        for kept in store.kept_states(row.id):
            if kept.parsed["complete"] and not any(_is(kept.parsed, h.in_force) for h in held):
                yield f"kept state {kept.id} was never held: {kept.parsed['steps_per_mm']}"
        for calibration in store.calibrations(row.id):
            for change in store.changes(calibration.id):
                yield from _marked(stage, change.marks)
            for trial in store.trials(calibration.id):
                yield from _read(stage, store.readings(trial.id))
                if trial.kept_id is None or not held:
                    yield f"trial {trial.id} rests on nothing"
    if ran.result is not None:
        yield from _told(stage, ran.result, held, command)


def _told(stage: Stage, result: Mapping[str, Any], held: list[Held], command: str) -> Iterator[str]:
    if command == "found" and result["complete"] and not _is(result, held[-1].in_force):
        yield f"found {result['steps_per_mm']}, held {held[-1].in_force['M92']}"
    if not _is_done(result) and not str(result.get("reason") or "").strip():
        yield "no reason for what is not done"
    if command == "set":
        yield from _set(stage, result, held)


def _set(stage: Stage, result: Mapping[str, Any], held: list[Held]) -> Iterator[str]:
    last = held[-1].in_force
    before = stage.truth.before or stage.as_found
    wanted = {**before, "M92": {**before["M92"], **dict(zip("XE", WISHED_MM, strict=True))}}
    if stage.board.dialect.report != "settings":  # nothing else is told, nor claimed
        wanted = {"M92": wanted["M92"]}
    if result["verified"] and (off := _differences(wanted, last)):
        yield f"verified, but {off}"
    stored = stage.board.settings.storage or {}
    if result["stored"] and (off := _differences(wanted, stored)):
        yield f"said to be stored, but {off}"
    if result["read_back"] and not _is({"steps_per_mm": _steps(result["read_back"])}, last):
        yield f"read back {result['read_back']}, held {last['M92']}"


def _marked(stage: Stage, marks: tuple[Any, ...]) -> Iterator[str]:
    """What the store says of a change: verified values were held, stored ones are in storage."""
    for mark in marks:
        values = mark.details.get("values")
        if not values:
            continue
        told = {"steps_per_mm": _steps(values)}
        if not any(_is(told, held.in_force) for held in stage.truth.held):
            yield f"marked {mark.state} with {values}, never held"
        if mark.state == "stored" and not _is(told, stage.board.settings.storage or {}):
            yield f"marked stored with {values}, storage holds others"


def _read(stage: Stage, readings: list[Any]) -> Iterator[str]:
    """A reading belongs to what was really fed."""
    for reading in readings:
        commanded, fed = reading.place.get("commanded_mm"), stage.truth.fed_mm.get(reading.key)
        if reading.void_reason is not None or commanded is None or fed is None:
            continue
        if abs(fed - commanded) > FED_WITHIN_MM:
            yield f"{reading.key} stands for {commanded:g} mm, {fed:.2f} mm were fed"


def _steps(values: Mapping[str, float]) -> dict[str, float]:
    return {name: value for name, value in values.items() if name[0] in "XYZE" and name not in SKEW}


def _is(told: Mapping[str, Any], held: Values) -> bool:
    """Whether told steps and skew are the held ones, within the digits printed."""
    steps = {"E" if k == "E0" else k: v for k, v in told["steps_per_mm"].items()}
    skew = told.get("skew") or {}
    return all(
        value is None or abs(value - held["M92"][axis]) <= DIGITS for axis, value in steps.items()
    ) and all(abs(skew[n] - held["M852"][k]) <= 1e-6 for n, k in SKEW.items() if n in skew)


def _differences(wanted: Values, held: Values) -> str:
    return ", ".join(
        f"{code} {letter} is {held.get(code, {}).get(letter)}, not {value:g}"
        for code, words in wanted.items()
        for letter, value in words.items()
        if abs(held.get(code, {}).get(letter, float("inf")) - value) > DIGITS
    )


# Safety


def _left(stage: Stage, ran: Ran) -> Iterator[str]:
    """How the machine was left."""
    board, said = stage.board, _words(ran)
    hot = board.nozzle.target_c or board.bed.target_c
    if hot and UNCONFIRMED not in said:
        yield f"left with targets {board.nozzle.target_c:g} and {board.bed.target_c:g}"
    if not board.modes.cold_guard and "cold-feed guard" not in said:
        yield "the cold-feed guard was left off without a word"
    yield from _too_hot(stage)


def _too_hot(stage: Stage) -> Iterator[str]:
    """Whether heaters off came in time; the program may see it a reading earlier than we do."""
    at_s, off_s = stage.truth.too_hot_s, stage.truth.off_s
    if at_s is None or stage.loop.now_s < at_s + STOPS_WITHIN_S:
        return
    if not any(-SOONER_S <= each_s - at_s <= STOPS_WITHIN_S for each_s in off_s):
        yield f"too hot at {at_s:.1f} s, heaters off at {off_s[-4:]}"


def _afterwards(stage: Stage, ran: Ran, again: Callable[[Run], Ran]) -> Iterator[str]:
    """The line is back: the next call of the program leaves nothing hot."""
    board = stage.board
    if not (board.nozzle.target_c or board.bed.target_c or UNCONFIRMED in _words(ran)):
        return
    stage.calm()
    then = again(lambda bench, _: bench.found())
    if board.nozzle.target_c or board.bed.target_c:
        yield f"hot after the line was back: {then.error or then.broke or then.result}"


# Words

_AWAITED = re.compile(
    r"[GMT]\d|no answer within|only noise|cannot be opened|no such port|did not come back"
)
_OF_ITSELF = re.compile(r"the line broke|the connection|halted|restarted|°C|sensor")


def _words(ran: Ran) -> str:
    error = ran.error
    notes = " ".join(getattr(error, "__notes__", ()))
    texts = [error.message, error.hint or "", error.where or "", notes] if error else []
    return " ".join([*texts, *ran.told])


def _said(stage: Stage, ran: Ran) -> Iterator[str]:
    """A failure says what was awaited and what was heard last."""
    error: AsleftError | None = ran.error
    if error is None or isinstance(error, MachineResetError):
        return
    text = f"{error.message} {error.where or ''}"
    if isinstance(error, (LineError, MachineError)) and not (
        _AWAITED.search(text) or _OF_ITSELF.search(text)
    ):
        yield f"does not say what was awaited: {error.message}"
    if isinstance(error, LineError) and stage.lines and not _heard(error.message):
        yield f"does not say what was heard: {error.message}"


def _heard(message: str) -> bool:
    said = r"the last thing heard was '|nothing was heard|asked for (?:the same )?line|no such port"
    return re.search(said, message) is not None
