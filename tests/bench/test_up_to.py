"""The years in a record: as `history` showed them then, and not otherwise a year later."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from asleft.bench.years.up_to import FIRST, years_up_to
from asleft.record import assemble
from asleft.record.sheet_years import years as on_paper

from .test_history import START, Years


@pytest.fixture
def years(tmp_path: Path):
    made = Years(tmp_path)
    yield made
    made.store.close()


def record(years: Years, number: int) -> dict[str, Any]:
    row = years.store.calibration(number)
    assert row is not None
    return assemble(years.store, number, versions={}, years=years_up_to(years.store, row))


def test_its_figures_are_those_of_history_and_stay_so(years: Years) -> None:
    machine, other = years.machine("regulator"), years.machine("orrery")
    for k in range(6):
        years.now = START + timedelta(days=122 * k)
        years.calibrate(machine, 0.004 + 5e-4 * k)
        years.calibrate(other, 0.001)
        if k == 4:
            years.store.add_event(machine, "belt", "the X belt")
    latest = max(c.id for c in years.store.calibrations(machine))
    seen = record(years, latest)
    (shown,), (told,) = seen["years"]["series"], years.told("regulator")["series"]
    for key in ("points", "centre", "call", "why", "tolerance", "steps"):
        assert shown[key] == told[key], key
    assert [e["kind"] for e in seen["years"]["events"]] == ["belt"]

    years.now += timedelta(days=122)
    years.calibrate(machine, 0.03)
    years.calibrate(other, 0.03)
    assert record(years, latest) == seen

    text = str(on_paper(seen))
    last = told["points"][-1]
    assert f"{100 * last['level']:+.3f}".replace("-", "−") in text
    assert told["call"] in text


def test_a_first_calibration_says_that_it_is_the_first(years: Years) -> None:
    machine = years.machine("regulator")
    years.calibrate(machine, 0.001)
    (number,) = (c.id for c in years.store.calibrations(machine))
    told = record(years, number)
    assert told["years"]["series"] == [] and told["years"]["reason"] == FIRST
    assert f"No chart: {FIRST}." in str(on_paper(told))
