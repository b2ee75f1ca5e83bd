"""Runs the steps of a trial: those not yet done, each marked before and after.

Killed at any point, the next run goes on where this one stood: answers are stored as they
come, a feed that was cut short is begun again from its mark, and what must be hot is heated
anew. Knows nothing of estimates.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from asleft.bench.desk import Desk
from asleft.bench.person import Ask, TakeBack
from asleft.controller import tell_also
from asleft.errors import AsleftError, BugError, Stopped
from asleft.trials import ByHand, Choose, CoolDown, Feed, Heat, Home, Move, Read, Step, Trial

if TYPE_CHECKING:
    from asleft.controller import Machine


BOUNDS = ("low", "high", "not_zero")  # what a question says of its answer, not of its place


class Run:
    """One pass over a trial's steps.

    Args:
        desk: store, person, machine.
        trial: what is run.
        trial_id: its row in the store.
    """

    def __init__(self, desk: Desk, trial: Trial, trial_id: int) -> None:
        self.desk = desk
        self.trial = trial
        self.trial_id = trial_id
        self._kinds: dict[type[Step], Callable[[Any], dict[str, Any] | None]] = {
            ByHand: self._by_hand,
            Read: self._read,
            Choose: self._choose,
            Heat: self._heat,
            Feed: self._feed,
            CoolDown: self._cool,
            Home: self._home,
            Move: self._move,
        }

    def go(self) -> None:
        """Run what is left. Heaters are off afterwards, whatever happens.

        Raises:
            Stopped: the person stopped; what was done stays done.
            LineError, MachineError: as the machine gave them; readings are kept.
        """
        remaining = pending(self.trial.steps, self.states())
        self._tell_if_resumed(remaining)
        uses_line = any(isinstance(step, (Feed, Heat, Home, Move)) for step in remaining)
        try:
            while (asked_at := self._through(remaining)) is not None:
                self._take_back_before(asked_at)
                remaining = pending(self.trial.steps, self.states())
        except BaseException as error:
            self._make_safe(uses_line, error)
            raise
        self._make_safe(uses_line, None)

    def _through(self, remaining: Sequence[Step]) -> Step | None:
        """Run the steps; the one at which the person asked for the reading before, or None."""
        for number, step in enumerate(remaining):
            if isinstance(step, Heat) and not _feeds_follow(remaining[number:]):
                continue
            if step.key in self.trial.spared(self.answers()):
                continue
            try:
                self._do(step)
            except TakeBack:
                return step
        return None

    def _take_back_before(self, asked_at: Step) -> None:
        """Void the reading right before a step, where nothing moved since it was taken."""
        spared = self.trial.spared(self.answers())
        steps = [s for s in self.trial.steps if s.key not in spared or s.key in self.states()]
        before = steps[max(0, steps.index(asked_at) - 1)]
        standing = {r.key: r for r in self.desk.store.readings(self.trial_id) if not r.voided}
        if not isinstance(before, (Read, Choose)) or before.key not in self.states():
            self.desk.person.tell("There is no reading right before this that can be taken again.")
            return
        # The mark first: killed in between, the reading still stands.
        self.desk.store.mark_step(self.trial_id, before.key, "void", {})
        if before.key in standing:
            self.desk.store.void_reading(standing[before.key].id, "taken back when it was entered")

    def _make_safe(self, uses_line: bool, error: BaseException | None) -> None:
        """Heaters off; a failure to do so is told with the error that led here, never instead."""
        if not uses_line or self.desk.connection is None:
            return
        try:
            self.desk.connection.make_safe()
        except AsleftError as failure:
            if error is None:
                raise
            tell_also(error, failure)
        else:
            if error is not None:
                self.desk.person.tell("The heaters are off; what was hot stays hot for a while.")

    def states(self) -> dict[str, str]:
        """The last state of each step, by key; a step whose reading stands is done."""
        store = self.desk.store
        marks = {mark.key: mark.state for mark in store.steps(self.trial_id)}
        read = {row.key: "done" for row in store.readings(self.trial_id) if not row.voided}
        return marks | read

    def answers(self) -> dict[str, str]:
        """What was chosen so far, by step key; what was taken back is not in it."""
        store = self.desk.store
        said = {
            mark.key: mark.details.get("answer") if mark.state == "done" else None
            for mark in store.steps(self.trial_id)
        }
        read = {
            r.key: r.place.get("outcome") for r in store.readings(self.trial_id) if not r.voided
        }
        return {key: str(answer) for key, answer in (said | read).items() if answer}

    def _tell_if_resumed(self, remaining: Sequence[Step]) -> None:
        done = len(self.trial.steps) - len(remaining)
        if done and remaining:
            self.desk.person.tell(
                f"Going on where this trial stood: {done} of {len(self.trial.steps)} steps"
                " are done."
            )

    def _do(self, step: Step) -> None:
        self.desk.store.mark_step(self.trial_id, step.key, "started", {})
        details = self._kinds[type(step)](step)
        if details is not None:  # else it was marked with its reading
            self.desk.store.mark_step(self.trial_id, step.key, "done", details)

    def _by_hand(self, step: ByHand) -> dict[str, Any]:
        if step.action == "print":
            self.desk.release()
        if not self.desk.person.confirm(_ask(step)):
            raise Stopped(
                f"stopped before: {step.text}",
                hint="The same command goes on there.",
                where=step.key,
            )
        return {}

    def _read(self, step: Read) -> None:
        typed = self.desk.person.number(_ask(step, place=step.place, unit=step.unit))
        self._keep(step, dict(step.details), typed.value, typed.raw, done={})

    def _choose(self, step: Choose) -> dict[str, Any] | None:
        choices = [list(choice) for choice in step.choices]
        ask = _ask(step, place=step.place, unit=step.unit)
        answer = self.desk.person.choose(replace(ask, details={**ask.details, "choices": choices}))
        if answer not in [value for value, _ in choices]:
            raise BugError(f"{answer!r} is no choice at {step.key}")
        done = {"answer": answer}
        if step.value is None:
            return done
        self._keep(step, {**step.details, "outcome": answer}, step.value, answer, done=done)
        return None

    def _keep(
        self,
        step: Read | Choose,
        place: dict[str, Any],
        value: float,
        raw: str,
        *,
        done: dict[str, Any],
    ) -> None:
        self.desk.store.add_reading(
            self.trial_id,
            key=step.key,
            place={k: v for k, v in place.items() if k not in BOUNDS},
            value=value,
            raw=raw,
            unit=step.unit,
            done=done,
        )

    def _heat(self, step: Heat) -> dict[str, Any]:
        machine = self.desk.connect()
        machine.heat(step.tool, step.target_c, progress=self._progress("heating"))
        self._tell_cautions(machine)
        return {"target_c": step.target_c}

    def _feed(self, step: Feed) -> dict[str, Any]:
        machine = self.desk.connect()
        self._tell_cautions(machine)  # it may have been switched off meanwhile
        with machine.neutral_feed(detached=step.detached) as neutral:
            machine.feed(
                step.length_mm,
                step.rate_mm_min,
                tool=step.tool,
                progress=self._progress("feeding"),
            )
        return {
            "length_mm": step.length_mm,
            "rate_mm_min": step.rate_mm_min,
            "warnings": neutral.warnings,
        }

    def _tell_cautions(self, machine: Machine) -> None:
        """What whoever guards the heaters has to say."""
        for notice in machine.notices():
            if notice.kind == "caution":
                self.desk.person.tell(notice.text)

    def _home(self, step: Home) -> dict[str, Any]:
        self.desk.connect().home()
        return {}

    def _move(self, step: Move) -> dict[str, Any]:
        place: dict[str, Any] = {f"{step.axis.lower()}_mm": step.target_mm}
        self.desk.connect().move(**place, rate_mm_min=step.rate_mm_min)
        return {"target_mm": step.target_mm}

    def _cool(self, step: CoolDown) -> dict[str, Any]:
        self.desk.connect().heat_off()
        return {}

    def _progress(self, what: str) -> Callable[[float, float | None], None]:
        def tell(done: float, remaining_s: float | None) -> None:
            self.desk.person.progress(what, done, remaining_s)

        return tell


def _ask(step: ByHand | Read | Choose, **more: Any) -> Ask:
    """The question that a step puts to the person."""
    return Ask(
        step.key,
        step.text,
        cautions=step.cautions,
        count=step.count,
        action=step.action,
        details=step.details,
        **more,
    )


def pending(steps: Sequence[Step], states: dict[str, str]) -> list[Step]:
    """The steps still to run, given the last state of each.

    A heating step always runs again. A feed that was begun and not finished moved the
    filament by an unknown length: it is run again from the step that it names.
    """
    done = {key for key, state in states.items() if state == "done"}
    for step in steps:
        if isinstance(step, Feed) and states.get(step.key) == "started":
            if not any(other.key == step.redo_from for other in steps):
                raise BugError(f"{step.key} names no step of its trial to go back to")
            done.discard(step.redo_from)
    return [s for s in steps if s.key not in done or isinstance(s, Heat)]


def _feeds_follow(steps: Sequence[Step]) -> bool:
    return any(isinstance(step, Feed) for step in steps)
