"""Ended between two things that are stored one after the other: the same command mends it.

The moments that kills at random seldom meet; an exception that nothing catches stands in for
the program's end. Without a line: see `test_changes` for what was sent and not read back.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from asleft.bench import Ask, Bench
from asleft.bench.trial.resuming import restore_trial
from asleft.errors import RefusedError, Stopped
from asleft.pieces import SpanPiece
from asleft.record import Store
from asleft.trials import Read

STEPS = {"X": 80.0, "Y": 80.0, "Z": 400.0, "E": 93.0}


class Ended(BaseException):
    """The program is no more."""


class Nobody:
    """A person who leaves at the first question."""

    def tell(self, text: str) -> None:
        pass

    def progress(self, what: str, done: float, remaining_s: float | None) -> None:
        pass

    def _leave(self, ask: Ask) -> Any:
        raise Stopped("gone", where=ask.key)

    confirm = number = choose = _leave


def piece(scale: float) -> tuple[str, str]:
    """A readings file of the usual piece: this scale in X and Y, growth 0.1, scatter 0.01 mm."""
    rows = ["direction,faces,nominal_mm,reading_mm,place"]
    for each in SpanPiece().places():
        if each.direction in ("X", "Y"):
            sign = {"outside": 1, "inside": -1, "same": 0}[each.faces]
            real = each.nominal_mm * (1 + scale) + 0.1 * sign
            head = f"{each.direction},{each.faces},{each.nominal_mm}"
            rows += [f"{head},{real + off:.2f},{each.label}" for off in (-0.01, 0.01, 0.0)]
    return "\n".join(rows) + "\n", "piece.csv"


Sit = Callable[[], Any]


@pytest.fixture
def sit(tmp_path: Path) -> Sit:
    @contextmanager
    def open_bench() -> Iterator[Bench]:
        with Bench(tmp_path, Nobody(), holder="a test") as bench:
            yield bench

    with open_bench() as bench:
        bench.found_from_steps(STEPS)
    return open_bench


def cut_short(sit: Sit, at: str, job: Callable[[Bench], Any]) -> None:
    """Do a job, and end before this method of the store does anything."""

    def end(*_: Any, **__: Any) -> None:
        raise Ended

    with pytest.MonkeyPatch.context() as patch, sit() as bench, pytest.raises(Ended):
        patch.setattr(Store, at, end)
        job(bench)


def span(bench: Bench) -> dict[str, Any]:
    return bench.trial("span", {"readings": piece(0.005)})


@pytest.mark.parametrize("at", ["add_readings", "conclude_trial"])
def test_a_file_of_readings_counts_once(sit: Sit, at: str) -> None:
    cut_short(sit, at, span)
    with sit() as bench:
        told = span(bench)
        record = bench.record(close=False)
        standing = bench._desk.store.standing_proposals(bench._desk.calibration())
    assert told["outcome"] == "done"
    done = [trial for trial in record["trials"] if trial["outcome"] == "done"]
    assert [len(trial["readings"]) for trial in done] == [len(piece(0)[0].splitlines()) - 1]
    assert {p["trial_id"] for p in standing} == {done[0]["id"]}


def test_readings_by_hand_are_estimated_once(sit: Sit) -> None:
    """All were read, and the program ended before the estimate was filed; twice, the second time
    with the proposals filed by themselves, as earlier forms of the program did."""
    with sit() as bench, pytest.raises(Stopped):
        bench.trial("span", {})
    with sit() as bench:
        store = bench._desk.store
        trial = store.unfinished_trial(bench._desk.calibration(), "span")
        assert trial is not None
        for step in restore_trial(trial)[0].steps:
            if isinstance(step, Read):
                nominal = step.details["nominal_mm"]
                store.add_reading(
                    trial.id,
                    key=step.key,
                    place=dict(step.details),
                    value=nominal * 1.005,
                    raw=f"{nominal * 1.005:.2f}",
                    unit="mm",
                )
            store.mark_step(trial.id, step.key, "done", {})
    cut_short(sit, "conclude_trial", lambda bench: bench.trial("span", {}))
    with sit() as bench:
        store = bench._desk.store
        with store._writing() as connection:
            store._add_proposal(connection, trial.id, {"setting": "steps_per_mm", "axis": "X"})
    with sit() as bench:
        assert bench.trial("span", {})["outcome"] == "done"
        filed = bench._desk.store.proposals(bench._desk.calibration())
    assert set(Counter((p.setting, p.axis) for p in filed).values()) == {1}


def test_more_readings_are_gone_on_with_by_the_same_command(sit: Sit) -> None:
    """Left among readings that a verdict asked for, and asked for in the same words again."""
    with sit() as bench:
        told = bench.trial("span", {"readings": piece(0.0008)})
        asked = [p["verdict"] for p in told["result"]["proposals"]]
        assert "measure_more" in asked, asked
    for _ in range(2):
        with sit() as bench, pytest.raises(Stopped):
            bench.trial("span", {"more": True})
    with sit() as bench:
        trials = bench._desk.store.trials(bench._desk.calibration())
        assert [trial.outcome for trial in trials] == ["done", "unfinished"]
        with pytest.raises(RefusedError, match="--readings"):
            bench.trial("span", {"readings": piece(0.0)})


@pytest.mark.parametrize("at", ["add_prediction", "add_readings", "end_trial"])
def test_a_proof_from_a_file_is_judged(sit: Sit, at: str) -> None:
    with sit() as bench:
        span(bench)
    cut_short(sit, at, lambda bench: bench.prove(readings=piece(0.005)))
    with sit() as bench:
        assert bench.prove(readings=piece(0.005))["verified"] is True


def test_no_face_is_read_before_it_was_foretold(sit: Sit) -> None:
    with sit() as bench:
        span(bench)
    cut_short(sit, "add_prediction", lambda bench: bench.prove())
    with sit() as bench:
        with pytest.raises(Stopped):
            bench.prove()
        store = bench._desk.store
        trials = store.trials(bench._desk.calibration())
        proofs = [trial for trial in trials if trial.kind == "proof"]
        assert [trial.outcome for trial in proofs] == ["failed", "unfinished"]
        assert store.prediction_of(proofs[1].id) is not None


def test_what_an_event_undoes_is_not_acted_on(sit: Sit) -> None:
    with sit() as bench:
        span(bench)
    cut_short(sit, "add_event", lambda bench: bench.event("belt", ""))
    with sit() as bench:
        standing = bench._desk.store.standing_proposals(bench._desk.calibration())
        assert not [p for p in standing if p["axis"] in ("X", "Y") and p["place"] == "controller"]
        assert bench.event("belt", "")["withdrawn"] == []
