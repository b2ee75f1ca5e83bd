"""A record checked from itself alone, and one that was altered by hand."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest
from benchmarks.records import look

from asleft.bench import Bench
from asleft.bench.rechecking import recheck
from asleft.cli.practice_person import PracticePerson
from asleft.errors import InputError
from asleft.practice.hands import Hands
from asleft.record.digests import digest, digest_of_all

from .conftest import OPTIONS, nothing


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The text of a record: a feed trial, a span trial, a second piece."""
    with Hands(7, speed=1000) as hands:
        person = PracticePerson(hands, say=nothing, progress=nothing)
        home = tmp_path_factory.mktemp("home")
        bench = Bench(home, person, holder="a test", machine="workbench", address=hands.address)
        bench.describe_machine({"name": "workbench", "travel_mm": [220, 220, 240]})
        return json.dumps(_evening(bench))


def _evening(bench: Bench) -> dict[str, Any]:
    with bench:
        bench.found()
        bench.trial("feed", OPTIONS)
        bench.set(from_findings=True, store=False)
        bench.trial("span", OPTIONS)
        bench.prove()
        return bench.record(close=False)


@pytest.fixture
def record(written: str) -> dict[str, Any]:
    """As it is read from its file."""
    document: dict[str, Any] = json.loads(written)
    return document


def test_the_same_comes_out_and_one_digit_is_noticed(record: dict[str, Any]) -> None:
    told = recheck(record)
    assert told["same"] and told["readings_intact"] and not told["differences"]
    assert [each["kind"] for each in told["trials"]] == ["feed", "span", "proof"]
    assert all(each["figures"] for each in told["trials"])

    # Every reading, one at a time, its last digit one more: also those set aside.
    for number, trial in enumerate(record["trials"]):
        for which, reading in enumerate(trial["readings"]):
            altered = copy.deepcopy(record)
            altered["trials"][number]["readings"][which]["value"] = reading["value"] + 0.01
            found = recheck(altered) if which == 0 else {"same": False, **_intact(altered)}
            assert not found["same"] and not found["readings_intact"]


def test_a_result_that_was_altered_is_noticed_and_named(record: dict[str, Any]) -> None:
    record["trials"][1]["quantities"][0]["u"] *= 0.5
    told = recheck(record)
    assert told["readings_intact"] and not told["same"]
    where = [each["where"] for each in told["differences"]]
    assert where == ["trial 2 (span), quantities 1, u", "record_sha256"]


def test_a_reason_in_other_words_is_no_other_estimate(record: dict[str, Any]) -> None:
    # A later version may word a reason otherwise; a verdict of one word still counts.
    proposal = next(p for t in record["trials"] for p in t["proposals"])
    proposal["reason"] += ", said otherwise"
    record["record_sha256"] = digest_of_all(record)
    assert recheck(record)["same"]
    proposal["verdict"] = "inspect"
    record["record_sha256"] = digest_of_all(record)
    assert [each["recorded"] for each in recheck(record)["differences"]] == ["inspect"]


@pytest.mark.parametrize("spoil", [{"schema": "asleft.found/1"}, {"trials": [{}]}])
def test_what_is_no_record_is_refused(record: dict[str, Any], spoil: dict[str, Any]) -> None:
    with pytest.raises(InputError):
        recheck({**record, **spoil})


def _intact(record: dict[str, Any]) -> dict[str, Any]:
    return {"readings_intact": digest(record["trials"]) == record["readings_sha256"]}


@pytest.mark.system("pdftotext")
def test_paper_says_what_the_record_says(written: str, tmp_path: Path) -> None:
    # A share of `python -m benchmarks.records`: every sixth reading altered, not every one.
    path = tmp_path / "record.json"
    path.write_text(written, encoding="utf-8")
    told = look(path, every=6)
    assert told["lost"] == told["invented"] == told["unnoticed"] == []
    assert told["same"] and told["same_bytes"] and told["altered"] > 5
    assert told["kib"] <= 300
