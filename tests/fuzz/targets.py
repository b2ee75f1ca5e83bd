"""What must hold for any input of the four parsers: a named error, or a sound value.

Each target takes bytes and raises AssertionError where a promise is broken, or whatever else the
parser let through. Used by the coverage-guided campaign (`benchmarks/fuzz.py`) and by the replay
of its seeds.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import asdict
from typing import Any

from asleft.controller import difference, parse_report
from asleft.controller.capabilities import (
    parse_card_progress,
    parse_identity,
    parse_percent,
    parse_position,
    parse_temperatures,
)
from asleft.controller.kept import restore_lines
from asleft.errors import InputError
from asleft.link.framing import LineSplitter
from asleft.link.hearing import classify, temperatures
from asleft.measure import (
    parse_bead_table,
    parse_feed_table,
    parse_fit_table,
    parse_span_table,
    parse_traverse_table,
)
from asleft.units import parse_assignments, parse_typed

TABLES: tuple[Callable[..., list[Any]], ...] = (
    parse_feed_table,
    parse_span_table,
    parse_traverse_table,
    parse_bead_table,
    parse_fit_table,
)


def reports(data: bytes) -> None:
    """A settings report: raw text survives, values are finite, a state restored is no change."""
    text = data.decode("utf-8", "replace")
    report = parse_report(text)
    assert report.raw == text
    _finite(v for v in report.steps_per_mm.values() if v is not None)
    _finite((report.skew or {}).values())
    _finite((report.delta or {}).values())
    assert all(v is None or v > 0 for v in report.steps_per_mm.values())
    if report.complete:
        assert None not in report.steps_per_mm.values()
    report.to_dict()
    assert parse_report(text).to_dict() == report.to_dict()
    assert not difference(report, parse_report(text))
    other = parse_report(text[len(text) // 2 :])
    for line in restore_lines(report, other, everything=True):
        assert line.isprintable() and "\n" not in line


def heard(data: bytes) -> None:
    """Whatever comes over the line is heard without a word of complaint, and in bounds."""
    splitter = LineSplitter()
    half = len(data) // 2
    lines = [*splitter.feed(data[:half]), *splitter.feed(data[half:]), *splitter.feed(b"\n")]
    assert lines == LineSplitter().feed(data + b"\n")
    for line in lines:
        told = classify(line)
        assert told.number is None or told.number >= 0
        if told.kind == "ok":
            assert line.lstrip("\x00\ufffd").strip().startswith("ok")
        for each in temperatures(line):
            assert each.target_c is None or math.isfinite(each.target_c)
    parse_identity(lines)
    parse_temperatures(lines)
    _finite(parse_position(lines).values())
    parse_card_progress(lines)
    percent = parse_percent(lines)
    assert percent is None or math.isfinite(percent)


def readings(data: bytes) -> None:
    """A readings file of any trial: every value is finite, or the file is refused by row."""
    text = data.decode("utf-8", "replace")
    for parse in TABLES:
        try:
            rows = parse(text, name="file.csv")
        except InputError as error:
            assert error.message and (error.where or error.hint)
            continue
        assert rows
        for row in rows:
            _finite(v for v in asdict(row).values() if isinstance(v, float))


def typed(data: bytes) -> None:
    """A number as a person types it: finite, its text untouched, or refused with a hint."""
    text = data.decode("utf-8", "replace")
    for lengths in (True, False):
        try:
            number = parse_typed(text, where="reading", lengths=lengths)
        except InputError as error:
            assert error.message and error.hint
        else:
            assert math.isfinite(number.value) and number.raw == text
    try:
        _finite(parse_assignments(text, where="--steps").values())
    except InputError as error:
        assert error.message


def _finite(values: Iterable[float]) -> None:
    assert all(math.isfinite(v) for v in values)


TARGETS: dict[str, Callable[[bytes], None]] = {
    "reports": reports,
    "heard": heard,
    "readings": readings,
    "typed": typed,
}
