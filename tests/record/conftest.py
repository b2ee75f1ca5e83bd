"""A small calibration in the workshop of a clock restorer, built by the store's own methods.

Figures are invented; no solver made them. The clock ticks one second a row.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path
from typing import Any

import pytest

from asleft.record import Store

FOUND = "M92 X80.00 Y80.00 Z400.00\nM92 T0 E93.00\nM852 I0.00000\n; case clamps loosened\nok\n"
LEFT = "M92 X80.17 Y80.00 Z400.00\nM92 T0 E97.89\nM852 I0.00120\n; case clamps loosened\nok\n"
CALIPER = {"name": "bench caliper", "resolution_mm": 0.01, "mpe_mm": 0.03, "reach_mm": 150.0}
TOLERANCE = {"scale": 0.001, "shear": 0.001, "feed": 0.01, "bead": 0.03, "growth": 0.1}
MAKING = {"name": "clock case walls", "nozzle_mm": 0.4, "line_width_mm": 0.45, "layer_mm": 0.2}
VERSIONS = {"asleft": "0.1.0", "python": "3.11", "numpy": "2.4.6"}


def ticking() -> Callable[[], datetime]:
    """A clock that is one second later at every look."""
    seconds = count()
    start = datetime(2026, 3, 14, 18, 30, tzinfo=UTC)
    return lambda: start + timedelta(seconds=next(seconds))


@pytest.fixture(scope="session")
def empty_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store without rows, made once: a home is copied faster than it is made."""
    home = tmp_path_factory.mktemp("empty")
    Store.open(home).close()
    return home


@pytest.fixture(scope="session")
def evening_home(empty_home: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with one closed calibration, made once."""
    home = tmp_path_factory.mktemp("evening") / "home"
    shutil.copytree(empty_home, home)
    with Store.open(home, clock=ticking()) as opened:
        evening(opened)
    return home


@pytest.fixture
def clock() -> Callable[[], datetime]:
    return ticking()


@pytest.fixture
def fill() -> Callable[[Store], int]:
    """What puts the evening into a store."""
    return evening


@pytest.fixture(scope="module")
def server() -> Iterator[str]:
    """A server without network, in a folder of its own; root may not run it."""
    user = "postgres" if os.geteuid() == 0 else None
    with tempfile.TemporaryDirectory(prefix="asleft-pg-") as name:
        folder = Path(name)
        if user:
            shutil.chown(folder, user)
        data = folder / "data"
        done = subprocess.run(
            ["initdb", "-D", data, "-A", "trust", "-U", "postgres", "--no-sync"],
            user=user,
            cwd=folder,
            capture_output=True,
            text=True,
            check=False,
        )
        if done.returncode != 0:
            pytest.fail(f"no server can be made here: {done.stderr[-200:]}")
        options = ["-k", str(folder), "-c", "listen_addresses=", "-c", "fsync=off"]
        process = subprocess.Popen(
            ["postgres", "-D", data, *options], user=user, cwd=folder, stderr=subprocess.DEVNULL
        )
        try:
            for _ in range(100):
                if (folder / ".s.PGSQL.5432").exists():
                    break
                time.sleep(0.1)
            yield f"postgresql+psycopg://postgres@/postgres?host={folder}"
        finally:
            process.send_signal(signal.SIGINT)  # whoever is still connected is thrown out
            process.wait(20)


@pytest.fixture
def store(empty_home: Path, tmp_path: Path) -> Iterator[Store]:
    """An empty store of the test's own, in `home` of its folder."""
    home = shutil.copytree(empty_home, tmp_path / "home")
    with Store.open(home, clock=ticking()) as opened:
        yield opened


@pytest.fixture
def calibrated(evening_home: Path, tmp_path: Path) -> Iterator[tuple[Store, int]]:
    """A store with one closed calibration (feed, span, a change, a proof) and its number."""
    home = shutil.copytree(evening_home, tmp_path / "home")
    with Store.open(home, clock=ticking()) as opened:
        yield opened, 1


def parsed(x: float, e: float, xy: float) -> dict[str, Any]:
    return {
        "complete": True,
        "steps_per_mm": {"X": x, "Y": 80.0, "Z": 400.0, "E": e},
        "skew": {"XY": xy},
        "delta": None,
    }


def begin(store: Store, name: str = "long-case printer") -> tuple[int, int, int]:
    """A machine, an open calibration and its state as found."""
    machine = store.add_machine(
        {
            "name": name,
            "drive": "cartesian",
            "bed_shape": "square",
            "travel_mm": [220.0, 220.0, 250.0],
            "nozzle_mm": 0.4,
            "max_nozzle_c": 260.0,
            "geometry_steps_per_mm": {"X": 80.0, "Y": 80.0, "Z": 400.0},
        }
    )
    store.note_fingerprint(machine, "case-bench/7f31")
    calibration = store.open_calibration(
        machine,
        versions=VERSIONS,
        person="apprentice at the second bench",
        conditions={"room_c": 21.5},
    )
    kept = store.keep(
        machine,
        raw=FOUND,
        parsed=parsed(80.0, 93.0, 0.0),
        reason="as found",
        standing="in_force",
        calibration_id=calibration,
    )
    return machine, calibration, kept


def evening(store: Store) -> int:
    machine, calibration, kept = begin(store)
    store.add_instrument(CALIPER)
    store.add_instrument_check("bench caliper", {"nominal_mm": 100.0, "u_mm": 0.003})
    store.add_event(machine, "belt", "X belt tightened by half a turn")
    ids = [*feed(store, calibration, kept), *span(store, calibration, kept)]
    change = store.start_change(
        calibration,
        settings=[
            {"setting": "E", "before": 93.0, "wanted": 97.89},
            {"setting": "X", "before": 80.0, "wanted": 80.17},
            {"setting": "XY", "before": 0.0, "wanted": 0.0012},
        ],
        kind="set",
        proposal_ids=ids,
        kept_before=kept,
    )
    values = {"X": 80.17, "Y": 80.0, "Z": 400.0, "E": 97.89, "XY": 0.0012}
    store.mark_change(change, "sent", {"lines": ["M92 X80.17", "M92 T0 E97.89", "M852 I0.0012"]})
    left = store.keep(
        machine,
        raw=LEFT,
        parsed=parsed(80.17, 97.89, 0.0012),
        reason="after set",
        standing="in_force",
        calibration_id=calibration,
    )
    store.mark_change(change, "read_back", {"verified": True, "values": values})
    store.mark_change(change, "stored", {"values": values})
    store.mark_change(change, "power_cycled", {"survived": True})
    prove(store, calibration, left)
    store.add_wire_log(calibration, machine, "wire/long-case-printer.log", 1, 412)
    store.close_calibration(calibration, "the record was made")
    return calibration


def feed(store: Store, calibration: int, kept: int) -> list[int]:
    trial = store.start_trial(
        calibration,
        "feed",
        parameters={"basis": {"tolerance": TOLERANCE}},
        steps=["feed.ready", *[f"feed.{n}.remaining" for n in (1, 2, 3, 4)]],
        kept_id=kept,
        instrument=CALIPER,
        making=MAKING,
    )
    store.mark_step(trial, "feed.ready", "started", {})
    store.mark_step(trial, "feed.ready", "done", {})
    place = {"marked_mm": 120.0, "commanded_mm": 100.0}
    slipped = store.add_reading(
        trial, key="feed.1.remaining", place=place, value=35.02, raw="35.02", unit="mm"
    )
    store.void_reading(slipped, "the mark was read from the wrong side")
    for number, raw in enumerate(("25.02", "24,96", "25.07", "24.94"), start=1):
        value = float(raw.replace(",", "."))
        store.add_reading(
            trial, key=f"feed.{number}.remaining", place=place, value=value, raw=raw, unit="mm"
        )
    proposal = {
        "setting": "steps_per_mm",
        "axis": "E",
        "place": "controller",
        "in_force": 93.0,
        "proposed": 97.8934,
        "u": 0.0371,
        "verdict": "adjust",
        "provisional": False,
        "p_within_tolerance": 0.0000004,
        "p_after": 0.9999,
        "reason": "100 mm were commanded and 95.003 mm went in: 5.00 % too little.",
    }
    result = {
        "trial": "feed",
        "quantities": [
            quantity("fed_ratio", 0.95003, 0.00036, "1", axis="E"),
        ],
        "proposals": [proposal],
        "budget": [
            line("fed_ratio E", "repeats", "A", 0.00031),
            line("fed_ratio E", "caliper scale", "B", 0.00018),
        ],
        "set_aside": [],
        "warnings": [],
    }
    return conclude(store, calibration, trial, result)


def conclude(store: Store, calibration: int, trial: int, result: dict[str, Any]) -> list[int]:
    """End a trial; the numbers of its proposals."""
    store.conclude_trial(trial, result)
    return [each.id for each in store.proposals(calibration) if each.trial_id == trial]


def quantity(
    name: str,
    value: float | None,
    u: float | None,
    unit: str,
    axis: str | None = None,
    plane: str | None = None,
    reason: str | None = None,
) -> dict[str, Any]:
    known = value is not None and u is not None
    return {
        "name": name,
        "axis": axis,
        "plane": plane,
        "value": value,
        "u": u,
        "unit": unit,
        "low95": value - 2.1 * u if known else None,
        "high95": value + 2.1 * u if known else None,
        "reason": reason,
    }


def line(name: str, source: str, kind: str, contribution: float) -> dict[str, Any]:
    return {
        "quantity": name,
        "input": source,
        "kind": kind,
        "u": contribution,
        "sensitivity": 1.0,
        "contribution": contribution,
    }


# label, direction, faces, drawn, first piece, foretold, second piece
PLACES = (
    ("1", "X", "outside", 107.0, 106.93, 107.156, 107.14),
    ("2", "X", "inside", 83.0, 82.64, 82.816, 82.83),
    ("3", "Y", "outside", 107.0, 107.14, 107.138, 107.15),
    ("4", "Y", "inside", 83.0, 82.85, 82.851, 82.84),
    ("5", "XY+", "outside", 146.35, 146.48, 146.514, 146.62),
    ("6", "XY-", "outside", 146.35, 145.31, 146.497, 146.49),
    ("7", "Z", "same", 80.0, 80.02, 80.021, 80.03),
)


def read_places(store: Store, trial: int, kind: str, column: int) -> None:
    for row in PLACES:
        place = dict(zip(("place", "direction", "faces", "nominal_mm"), row, strict=False))
        store.add_reading(
            trial,
            key=f"{kind}.1.{row[0]}",
            place=place,
            value=row[column],
            raw=f"{row[column]:.2f}",
            unit="mm",
        )


def span(store: Store, calibration: int, kept: int) -> list[int]:
    trial = store.start_trial(
        calibration,
        "span",
        parameters={"basis": {"tolerance": TOLERANCE}},
        steps=[f"span.1.{row[0]}" for row in PLACES],
        kept_id=kept,
        instrument=CALIPER,
        making=MAKING,
    )
    read_places(store, trial, "span", 4)
    common = {"place": "controller", "provisional": False}
    result = {
        "trial": "span",
        "quantities": [
            quantity("printed_scale", -0.00212, 0.000231, "1", axis="X"),
            quantity("printed_scale", 0.00004, 0.000228, "1", axis="Y"),
            quantity("printed_scale", 0.00025, 0.00031, "1", axis="Z"),
            quantity("motion_scale", None, None, "1", "X", reason="a span cannot tell it alone"),
            quantity("growth", 0.1432, 0.0211, "mm"),
            quantity("shear", 0.00121, 0.000312, "rad", plane="XY"),
        ],
        "proposals": [
            {
                "setting": "steps_per_mm",
                "axis": "X",
                "in_force": 80.0,
                "proposed": 80.16996,
                "u": 0.0185,
                "verdict": "adjust",
                "p_within_tolerance": 0.0000021,
                "p_after": 0.998,
                "reason": "X is 0.212 % short, more than the readings leave in doubt.",
                **common,
            },
            {
                "setting": "skew",
                "axis": "XY",
                "in_force": 0.0,
                "proposed": 0.00121,
                "u": 0.000312,
                "verdict": "adjust",
                "p_within_tolerance": 0.251,
                "p_after": 0.997,
                "reason": "The diagonals differ by more than the readings leave in doubt.",
                **common,
            },
            {
                "setting": "steps_per_mm",
                "axis": "Z",
                "in_force": 400.0,
                "proposed": None,
                "u": 0.124,
                "verdict": "measure_more",
                "p_within_tolerance": 0.991,
                "p_after": None,
                "reason": "One height cannot tell a misread from a wrong scale: add heights.",
                **common,
            },
        ],
        "budget": [
            line("printed_scale X", "face scatter", "A", 0.000184),
            line("printed_scale X", "caliper scale", "B", 0.000119),
            line("printed_scale X", "growth", "B", 0.0000731),
            line("growth", "caliper zero, outside", "B", 0.0163),
            line("growth", "face scatter", "A", 0.0134),
            line("shear XY", "face scatter", "A", 0.000312),
        ],
        "set_aside": [
            {"row": 6, "reading_mm": 145.31, "why": "1.17 mm from the fit: a misread millimetre"}
        ],
        "warnings": ["Each place was read once: repeats would show the reading noise."],
    }
    return conclude(store, calibration, trial, result)[:2]


def prove(store: Store, calibration: int, kept: int) -> None:
    trial = store.start_trial(
        calibration,
        "proof",
        parameters={"first": 2},
        steps=[f"proof.1.{row[0]}" for row in PLACES],
        kept_id=kept,
        instrument=CALIPER,
        making=MAKING,
    )
    foretold = [
        {
            "label": row[0],
            "direction": row[1],
            "faces": row[2],
            "nominal_mm": row[3],
            "predicted_mm": row[5],
            "u_mm": 0.031,
            "low95_mm": round(row[5] - 0.064, 4),
            "high95_mm": round(row[5] + 0.064, 4),
        }
        for row in PLACES
    ]
    store.add_prediction(calibration, trial, {"places": foretold})
    read_places(store, trial, "proof", 6)
    names = ("label", "predicted_mm", "low95_mm", "high95_mm")
    told = [
        {
            **{name: face[name] for name in names},
            "reading_mm": row[6],
            "readings": 1,
            "inside": abs(row[6] - row[5]) < 0.064,
        }
        for face, row in zip(foretold, PLACES, strict=True)
    ]
    reason = "6 of 7 faces came out inside what was foretold; chance alone does as much."
    result = {
        "holds": True,
        "chi2": 12.74,
        "dof": 7,
        "p": 0.079,
        "inside": 6,
        "places": told,
        "set_aside": [],
        "reason": reason,
    }
    store.end_trial(trial, "done", reason, result)
