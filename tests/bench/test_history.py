"""Years in a store, filed by its own methods: levels across changes, calls, due, words and CSV.

The truth is drawn here; a machine's steps per mm are corrected at every calibration, so that what
is found each time is what moved since.
"""

from __future__ import annotations

import csv
import io
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from asleft.bench import Bench
from asleft.bench.years.history import history
from asleft.bench.years.levels import day_of, decimal_year
from asleft.cli.history import as_table, history_lines
from asleft.errors import InputError
from asleft.record import Store, history_chart

CALIPER = {"name": "bench caliper", "resolution_mm": 0.01, "mpe_mm": 0.03, "reach_mm": 150.0}
START = datetime(2021, 3, 1, 18, 0, tzinfo=UTC)
U = 3e-4


class Nobody:
    """Is asked nothing, and listens to nothing."""

    def tell(self, text: str) -> None: ...


class Years:
    """A store whose clock is set by hand."""

    def __init__(self, home: Path) -> None:
        self.now = START
        self.store = Store.open(home, clock=lambda: self.now)
        self.steps: dict[int, float] = {}
        self.chance = np.random.default_rng(17)

    def machine(self, name: str) -> int:
        number = self.store.add_machine({"name": name, "drive": "cartesian"})
        self.steps[number] = 80.0
        return number

    def keep(self, machine: int, calibration: int) -> int:
        steps = {"X": self.steps[machine], "Y": 80.0, "Z": 400.0, "E": 93.0}
        return self.store.keep(
            machine, raw="", parsed={"steps_per_mm": steps, "skew": None, "delta": None},
            reason="test", standing="in_force", calibration_id=calibration,
        )  # fmt: skip

    def calibrate(self, machine: int, true_scale: float, *, adjust: bool = True) -> None:
        """Find the printed scale of X, at 80 steps per mm off by `true_scale`; put it right."""
        store = self.store
        calibration = store.open_calibration(machine, versions={}, person=None, conditions={})
        printed = (1 + true_scale) * self.steps[machine] / 80.0 - 1
        seen = float(printed + U * self.chance.standard_normal())
        trial = store.start_trial(
            calibration, "span", parameters={"basis": {"tolerance": {"scale": 0.001}}}, steps=[],
            kept_id=self.keep(machine, calibration), instrument=CALIPER, making={"name": "cases"},
        )  # fmt: skip
        quantity = {"name": "printed_scale", "axis": "X", "plane": None, "value": seen, "u": U}
        result = {"quantities": [{**quantity, "unit": "1"}], "proposals": []}
        store.end_trial(trial, "done", None, result)
        if adjust:
            self.steps[machine] /= 1 + seen
            self.keep(machine, calibration)
        store.close_calibration(calibration, "done")

    def told(self, name: str | None = None) -> dict[str, Any]:
        return history(self.store, name, self.now)


@pytest.fixture
def years(tmp_path: Path):
    made = Years(tmp_path)
    yield made
    made.store.close()


def visit(years: Years, machines: list[int], scale: Any, times: int = 10) -> None:
    """Calibrate every four months; `scale(machine, visit)` is the truth then."""
    for k in range(times):
        years.now = START + timedelta(days=122 * k)
        for machine in machines:
            years.calibrate(machine, scale(machine, k))


def series(document: dict[str, Any]) -> dict[str, Any]:
    (only,) = document["series"]
    return only


def test_a_drift_shows_though_every_calibration_took_it_away(years: Years) -> None:
    machine = years.machine("regulator")
    visit(years, [machine], lambda _, k: 0.004 + 5e-4 * k)
    told = series(years.told())
    assert told["call"] == "drift"
    a_year = 5e-4 / (122 / 365.25)
    assert abs(told["slope_per_year"] - a_year) < 3 * told["slope_u_per_year"] + 5e-5
    later = told["points"][1:]
    # What is found each time is what moved since, with the scatter of both.
    assert np.mean([p["since_left"] for p in later]) == pytest.approx(5e-4, abs=2e-4)
    assert all(abs(p["left"]) < 1e-12 for p in told["points"])
    assert told["may_reach"] is not None


def test_changes_alone_move_no_level(years: Years) -> None:
    machine = years.machine("regulator")
    visit(years, [machine], lambda _, k: 0.012)
    told = series(years.told())
    assert told["call"] == "steady", told["why"]
    assert told["points"][0]["found"] == pytest.approx(0.012, abs=5 * U)
    assert max(abs(p["level"]) for p in told["points"]) < 6 * U
    assert told["now"]["low95"] < 0 < told["now"]["high95"]


def test_a_step_is_laid_to_the_event_noted_there(years: Years) -> None:
    machine = years.machine("regulator")
    for k in range(9):
        years.now = START + timedelta(days=122 * k)
        years.calibrate(machine, 0.003 + 0.004 * (k >= 5))
        if k == 4:
            years.now += timedelta(days=20)
            years.store.add_event(machine, "belt", "the X belt")
    told = series(years.told())
    assert told["call"] == "step"
    (step,) = told["steps"]
    assert "belt" in step["event"] and step["size"] == pytest.approx(0.004, abs=4 * U)
    assert step["after"] < "2022-07-25" < step["before"]


def test_a_shared_caliper_is_named_and_its_machines_cleared(years: Years) -> None:
    machines = [years.machine(name) for name in ("regulator", "orrery", "barograph")]
    years.store.add_instrument(CALIPER)
    # The caliper reads 0.4 % long from the sixth visit on; no machine moved.
    visit(years, machines, lambda m, k: 0.001 * m + 0.004 * (k >= 5))
    told = years.told("orrery")
    (caliper,) = told["instruments"]
    assert (caliper["call"], caliper["machines"]) == ("step", 3)
    assert caliper["size"] == pytest.approx(0.004, abs=3e-4)
    assert series(told)["call"] == "steady"
    assert series(told)["moved_by"] == ["bench caliper"]
    years.now += timedelta(days=1)
    with Bench(Path(years.store._where), Nobody(), holder="t", machine="orrery",  # type: ignore[arg-type]
               clock=lambda: years.now) as bench:  # fmt: skip
        due = {each["what"]: each for each in bench.due()["due"]}
    assert "moves all 3 machines" in due["check of bench caliper"]["why"]
    assert due["check of bench caliper"]["trial"] is None


def test_one_machine_that_moves_is_not_laid_to_the_caliper(years: Years) -> None:
    machines = [years.machine(name) for name in ("regulator", "orrery", "barograph")]
    years.store.add_instrument(CALIPER)
    visit(years, machines, lambda m, k: 0.004 * (k >= 5) * (m == machines[1]))
    told = years.told("orrery")
    assert told["instruments"][0]["call"] in ("steady", "unknown")
    assert series(told)["call"] == "step"
    assert series(years.told("barograph"))["call"] == "steady"


def test_due_waits_and_then_comes(years: Years) -> None:
    machine = years.machine("regulator")
    years.store.add_instrument(CALIPER)
    years.store.add_instrument_check(
        "bench caliper", {"nominal_mm": 100.0, "u_mm": 0.003, "error_mm": 0.0, "error_u_mm": 0.003}
    )
    years.calibrate(machine, 0.003)

    def due(after_days: int) -> dict[str, str]:
        now = START + timedelta(days=after_days)
        with Bench(Path(years.store._where), Nobody(), holder="t", machine="regulator",  # type: ignore[arg-type]
                   clock=lambda: now) as bench:  # fmt: skip
            return {each["what"]: each["why"] for each in bench.due()["due"]}

    assert set(due(30)) == {"feed"}
    old = due(800)
    assert "nobody knows yet how steady" in old["axes (span trial)"]
    assert "known length is of 2021-03-01" in old["check of bench caliper"]


def test_checks_of_a_caliper_on_a_known_length_are_judged_too(years: Years) -> None:
    machine = years.machine("regulator")
    years.store.add_instrument(CALIPER)
    for k in range(8):
        years.now = START + timedelta(days=180 * k)
        error = 0.008 * k + 0.002 * years.chance.standard_normal()
        check = {"nominal_mm": 100.0, "u_mm": 0.003, "error_mm": error, "error_u_mm": 0.003}
        years.store.add_instrument_check("bench caliper", check)
    years.calibrate(machine, 0.0)
    (caliper,) = years.told()["instruments"]
    assert caliper["checks_call"] == "drift" and len(caliper["checks"]) == 8
    assert caliper["check_due"] is False
    assert "On the known length: a drift" in "\n".join(history_lines(years.told()))


def test_one_calibration_is_too_few_and_says_so(years: Years) -> None:
    years.calibrate(years.machine("regulator"), 0.003)
    told = series(years.told())
    assert told["call"] == "unknown" and "too few" in told["why"]
    assert told["points"][0]["low"] is None and told["reason"]


def test_words_csv_and_chart_show_every_point(years: Years) -> None:
    machine = years.machine("regulator")
    visit(years, [machine], lambda _, k: 0.004 * (k >= 6))
    told = years.told()
    text = "\n".join(history_lines(told))
    assert "span trial, cases:" in text and "printed scale X stepped: a step of +0." in text
    assert max(map(len, text.splitlines())) <= 80
    rows = list(csv.DictReader(io.StringIO(as_table(told))))
    points = series(told)["points"]
    assert [float(row["found"]) for row in rows] == [p["found"] for p in points]
    assert {(row["machine"], row["trial"]) for row in rows} == {("regulator", "span")}
    svg = history_chart(series(told), ({"at": "2022-07-01T00:00:00Z", "kind": "belt"},))
    drawn = ET.fromstring(svg)  # noqa: S314 - our own
    circles = [e for e in drawn.iter() if e.tag.endswith("circle")]
    assert len(circles) == len(points)
    assert sum(e.get("class") == "out" for e in circles) == sum(p["outside"] for p in points)
    assert ">belt<" in svg
    with pytest.raises(ValueError):
        history_chart({**series(told), "points": []})


def test_several_machines_are_listed_and_one_is_asked_for(years: Years) -> None:
    with pytest.raises(InputError, match="no machine"):
        years.told()
    for name in ("regulator", "orrery"):
        years.calibrate(years.machine(name), 0.0)
    told = years.told()
    assert told["machine"] is None and told["series"] == []
    assert [m["calibrations"] for m in told["machines"]] == [1, 1]
    assert "--machine" in "\n".join(history_lines(told))
    with pytest.raises(InputError, match="sundial"):
        years.told("sundial")


def test_days_and_years_are_each_others_inverse() -> None:
    for day in ("2000-01-01", "2024-02-29", "2031-12-31"):
        assert day_of(decimal_year(f"{day}T12:00:00.000000Z")) == day
