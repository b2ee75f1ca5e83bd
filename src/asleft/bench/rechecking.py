"""A record checked from itself: its readings against their digest, every estimate made anew.

Needs neither the store nor a machine, only the record as JSON, so that whoever receives one can
check it a year later. Judges nothing: it says what comes out otherwise, and where.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from asleft.bench.trial.proving import predict
from asleft.controller import parse_report
from asleft.errors import AsleftError, InputError
from asleft.measure import prove_span
from asleft.record.digests import digest, digest_of_all
from asleft.record.document import SCHEMA
from asleft.record.kept_of import RESULT_KEYS
from asleft.trials import Basis, Entry, Trial, build, span_readings
from asleft.units import parse_typed

SAME_WITHIN = 1e-6
"""Relative departure that another machine's arithmetic may bring; far below any printed digit."""

Record = Mapping[str, Any]


def recheck(record: Record) -> dict[str, Any]:
    """Make every estimate of a record anew from its own readings.

    Args:
        record: an `asleft.record/1`.

    Returns:
        `asleft.record_check/1`: `same`, `readings` and `readings_intact`, `intact` (all of the
        record is as it was written; None where it is older than that digest), `trials` (`trial`,
        `kind`, `same`, `figures` compared, `worst` relative departure), `differences` (`where`,
        `recorded`, `recomputed`), `written_by`.

    Raises:
        InputError: this is no such record, or parts of it are missing.
    """
    if record.get("schema") != SCHEMA:
        raise InputError(
            f"this is not a record: its schema is {record.get('schema')!r}, not {SCHEMA!r}",
            hint="Give a file that `asleft record --out FILE.json` wrote.",
            where="schema",
        )
    try:
        return _recheck(record)
    except (KeyError, TypeError, AttributeError, ValueError) as missing:
        raise InputError(
            f"the record is not complete: {missing}",
            hint="Ask for the file as it was written.",
            where="record",
        ) from missing


def _recheck(record: Record) -> dict[str, Any]:
    trials = {int(each["id"]): each for each in record["trials"]}
    readings = [reading for trial in trials.values() for reading in trial["readings"]]
    intact = digest(list(trials.values())) == record["readings_sha256"]
    differences = [*_altered(record, "readings_sha256"), *_texts(trials.values())]
    checked = []
    for trial in trials.values():
        compared = Comparison()
        recorded, anew = _both(trial, trials, record)
        compared.compare(recorded, anew, f"trial {trial['id']} ({trial['kind']})")
        differences += compared.differences
        checked.append(
            {
                "trial": trial["id"],
                "kind": trial["kind"],
                "same": not compared.differences,
                "figures": compared.figures,
                "worst": compared.worst,
            }
        )
    differences += _altered(record, "record_sha256")
    return {
        "schema": "asleft.record_check/1",
        "same": not differences,
        "readings": len(readings),
        "readings_intact": intact,
        "intact": _whole(record),
        "trials": checked,
        "differences": differences,
        "written_by": record["versions"]["written"],
    }


def _whole(record: Record) -> bool | None:
    """Whether the whole record is as it was written; None where it has no digest of all."""
    told = record.get("record_sha256")
    return None if told is None else told == digest_of_all(record)


def _altered(record: Record, name: str) -> Iterator[dict[str, Any]]:
    """The digest of this name, where what it was made of is not as it was written."""
    told = record.get(name)
    of_readings = name == "readings_sha256"
    anew = digest(list(record["trials"])) if of_readings else digest_of_all(record)
    if told != anew and (told is not None or of_readings):
        yield {"where": name, "recorded": told, "recomputed": anew}


def _texts(trials: Iterable[Record]) -> Iterator[dict[str, Any]]:
    """Readings whose number is not what was typed; columns of a file's row are not looked at."""
    for trial in trials:
        for reading in trial["readings"]:
            try:
                value = parse_typed(reading["raw"], where="reading").value
            except InputError:
                continue  # a row of a readings file
            if reading["unit"] == "mm" and not _alike(value, reading["value"]):
                yield {
                    "where": f"trial {trial['id']}, reading {reading['key']}",
                    "recorded": reading["value"],
                    "recomputed": value,
                }


def _both(trial: Record, trials: Mapping[int, Record], record: Record) -> tuple[Any, Any]:
    """What the record says of a trial, and what comes out of its readings now."""
    if trial["kind"] == "proof":
        return _proof(trial, trials, record)
    if trial["outcome"] not in ("done", "no_estimate"):
        return {}, {}
    rebuilt, basis = rebuild(trial)
    try:
        anew: dict[str, Any] = rebuilt.solve(counted(trial, rebuilt, trials), basis).to_dict()
    except AsleftError as error:
        return {"reason": trial["reason"]}, {"reason": error.message}
    recorded = {name: trial[name] for name in RESULT_KEYS}
    return recorded, {name: anew.get(name) or [] for name in RESULT_KEYS}


def _proof(
    trial: Record, trials: Mapping[int, Record], record: Record
) -> tuple[dict[str, Any], dict[str, Any]]:
    """The second piece: foretold anew from the first, and judged anew."""
    if trial["outcome"] != "done":
        return {}, {}
    first = _first_span(trial, trials)
    before, basis = rebuild(first)
    kept = next(each for each in record["kept_states"] if each["kept"] == trial["kept"])
    again, _ = rebuild(trial)
    entries = counted(first, before, trials)
    prediction = predict(again, basis, entries, parse_report(kept["raw"]))
    proof = prove_span(prediction, span_readings(counted(trial, again, trials))).to_dict()
    names = ("chi2", "dof", "p", "holds")
    return (
        {name: trial["judgement"][name] for name in names},
        {name: proof[name] for name in names},
    )


def _first_span(proof: Record, trials: Mapping[int, Record]) -> Record:
    done = [
        each
        for number, each in trials.items()
        if number < proof["id"] and (each["kind"], each["outcome"]) == ("span", "done")
    ]
    return done[-1]


def rebuild(trial: Record) -> tuple[Trial, Basis]:
    """A trial of a record as it was begun, and what its estimate rested on."""
    told = trial["parameters"]
    return build(trial["kind"], told["trial"]), Basis.from_dict(told["basis"])


def counted(trial: Record, rebuilt: Trial, trials: Mapping[int, Record]) -> list[Entry]:
    """The readings that counted: the trial's own, then those of the trials it went on from."""
    return [
        Entry(reading["value"], reading["place"], reading["raw"])
        for each in (trial["id"], *rebuilt.earlier)
        for reading in trials[each]["readings"]
        if reading["taken_back"] is None
    ]


class Comparison:
    """Two JSON values side by side: how many numbers, the worst departure, what differs."""

    def __init__(self) -> None:
        self.figures = 0
        self.worst = 0.0
        self.differences: list[dict[str, Any]] = []

    def compare(self, recorded: Any, anew: Any, where: str) -> None:
        """Go through both; lists and mappings by their members."""
        if isinstance(recorded, Mapping) and isinstance(anew, Mapping):
            self._members(recorded, anew, where)
        elif _is_list(recorded) and _is_list(anew) and len(recorded) == len(anew):
            for number, (one, other) in enumerate(zip(recorded, anew, strict=True), start=1):
                self.compare(one, other, f"{where} {number}")
        elif _is_number(recorded) and _is_number(anew):
            self._numbers(float(recorded), float(anew), where)
        elif recorded != anew and not (_is_wording(recorded) and _is_wording(anew)):
            self._differ(recorded, anew, where)

    def _members(self, recorded: Record, anew: Record, where: str) -> None:
        # A later version may say more; what the record says must come out again.
        for name, value in recorded.items():
            self.compare(value, anew.get(name), f"{where}, {name}")

    def _numbers(self, recorded: float, anew: float, where: str) -> None:
        self.figures += 1
        if recorded != anew:
            apart = abs(recorded - anew) / max(abs(recorded), abs(anew))
            self.worst = max(self.worst, apart)
        if not _alike(recorded, anew):
            self._differ(recorded, anew, where)

    def _differ(self, recorded: Any, anew: Any, where: str) -> None:
        self.differences.append({"where": where, "recorded": recorded, "recomputed": anew})


def _alike(one: float, other: float) -> bool:
    return math.isclose(one, other, rel_tol=SAME_WITHIN, abs_tol=1e-12)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _is_wording(value: Any) -> bool:
    """A sentence; names and verdicts are single words. The digest of all holds sentences, too."""
    return isinstance(value, str) and " " in value


def _is_list(value: Any) -> bool:
    return isinstance(value, Sequence) and not isinstance(value, str)
