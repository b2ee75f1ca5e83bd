"""How long the view of the years takes as the store grows, on SQLite and on a real PostgreSQL.

Fills a store with invented years in bulk (readings, steps, results and settings as long as real
ones), then asks for the history of one machine, of the workshop, and for what is due. The server
is started here as an ordinary user, without network, and stopped again.

    python -m benchmarks.history [--readings 10000 ...] [--machines 200] [--no-postgresql]
"""

from __future__ import annotations

import argparse
import os
import shutil
import statistics
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from asleft.bench.years.foretelling import coming
from asleft.bench.years.history import history
from asleft.record import Store, history_chart, schema

PER_SPAN, PER_FEED = 28, 6
START = datetime(2021, 1, 1, 18, 0, tzinfo=UTC)
YEARS = 5.0
CALIPERS = 4
WARM, ROUNDS = 2, 9


def stamp(moment: datetime) -> str:
    return moment.isoformat(timespec="microseconds").replace("+00:00", "Z")


class Filler:
    """Rows of every table, handed to the database in bulk."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.rows: dict[str, list[dict[str, Any]]] = {}
        self.numbers: dict[str, int] = {}
        self.chance = np.random.default_rng(5)

    def add(self, table: str, at: datetime, **values: Any) -> int:
        self.numbers[table] = number = self.numbers.get(table, 0) + 1
        self.rows.setdefault(table, []).append({"id": number, "at": stamp(at), **values})
        return number

    def flush(self) -> None:
        """In the order of the tables, so that what is pointed to is there first."""
        with self.store._engine.begin() as connection:
            for table in schema.metadata.sorted_tables:
                rows = self.rows.pop(table.name, [])
                if rows:
                    connection.execute(table.insert(), rows)

    def fill(self, machines: int, readings: int) -> None:
        """Calibrations of a feed and a span each, in turn over the machines and the years."""
        for k in range(CALIPERS):
            number = self.add("instrument", START, name=f"caliper {k}")
            self.add("instrument_description", START, instrument_id=number, description=caliper(k))
        for k in range(machines):
            self.add("machine", START, name=f"machine {k}")
            said = {"name": f"machine {k}", "drive": "cartesian"}
            self.add("machine_description", START, machine_id=k + 1, description=said)
        calibrations = readings // (PER_SPAN + PER_FEED)
        for k in range(calibrations):
            when = START + timedelta(days=365 * YEARS * k / calibrations)
            self.calibrate(1 + k % machines, when)
            if k % machines == machines - 1:  # before a machine has its next one opened
                self.flush()
        self.flush()

    def calibrate(self, machine: int, at: datetime) -> None:
        frame = self.add(
            "calibration", at, machine_id=machine, versions={}, person=None, conditions={}
        )
        kept = self.keep(machine, frame, at)
        for kind, count in (("feed", PER_FEED), ("span", PER_SPAN)):
            self.trial(frame, kept, kind, count, machine, at)
        self.keep(machine, frame, at)
        self.add("calibration_close", at, calibration_id=frame, reason="the record was made")

    def keep(self, machine: int, frame: int, at: datetime) -> int:
        return self.add(
            "kept_state", at, machine_id=machine, calibration_id=frame, raw=REPORT, parsed=PARSED,
            reason="as found", standing="in_force",
        )  # fmt: skip

    def trial(
        self, frame: int, kept: int, kind: str, count: int, machine: int, at: datetime
    ) -> None:
        trial = self.add(
"trial", at, calibration_id=frame, kind=kind,
            steps=[f"{kind}.{n}" for n in range(count)],
            parameters={"trial": {}, "basis": {"tolerance": {"scale": 0.001, "feed": 0.01}}},
            kept_state_id=kept, instrument=caliper(machine % CALIPERS), making={"name": "cases"},
        )  # fmt: skip
        for n in range(count):
            value = 100 + float(self.chance.normal(0, 0.05))
            self.add(
                "reading", at, trial_id=trial, key=f"{kind}.{n}", take=0, value=value,
                place={"direction": "X", "faces": "outside", "nominal_mm": 100.0},
                raw=f"{value:.2f}", unit="mm",
            )  # fmt: skip
        result = {"quantities": self.quantities(kind), "budget": BUDGET, "proposals": PROPOSALS}
        self.add("trial_end", at, trial_id=trial, outcome="done", reason="", result=result)

    def quantities(self, kind: str) -> list[dict[str, Any]]:
        named = (
            [("fed_ratio", "E", None, 1.0, 2e-3)]
            if kind == "feed"
            else [
                *(("printed_scale", axis, None, 0.0, 3e-4) for axis in "XYZ"),
                ("shear", None, "XY", 0.0, 3e-4),
                ("growth", None, None, 0.1, 0.02),
            ]
        )
        return [
            {
                "name": name, "axis": axis, "plane": plane, "unit": "1", "u": u, "low95": 0.0,
                "value": right + u * float(self.chance.standard_normal()), "high95": 0.0,
                "reason": None,
            }
            for name, axis, plane, right, u in named
        ]  # fmt: skip


def caliper(k: int) -> dict[str, Any]:
    return {"name": f"caliper {k}", "resolution_mm": 0.01, "mpe_mm": 0.03, "reach_mm": 150.0}


REPORT = "M92 X80.00 Y80.00 Z400.00 E93.00\n" * 40
PARSED = {
    "steps_per_mm": {"X": 80.0, "Y": 80.0, "Z": 400.0, "E": 93.0},
    "skew": None,
    "delta": None,
    "settings": [{"code": "M92", "tool": None, "values": {"X": 80.0}, "line": "M92 X80"}] * 40,
}
BUDGET = [
    {"quantity": "printed_scale X", "input": "scatter of a reading", "kind": "A", "u": 1e-4,
     "sensitivity": 1.0, "contribution": 1e-4}
] * 30  # fmt: skip
PROPOSALS = [
    {"setting": "steps_per_mm", "axis": "X", "reason": "a sentence of some length " * 6}
] * 4


@contextmanager
def postgresql() -> Iterator[str]:
    """A server of our own without network; root may not run one."""
    for folder in sorted(Path("/usr/lib/postgresql").glob("*/bin")):
        os.environ["PATH"] = f"{folder}{os.pathsep}{os.environ['PATH']}"
    user = "postgres" if os.geteuid() == 0 else None
    with tempfile.TemporaryDirectory(prefix="asleft-pg-") as name:
        home = Path(name)
        if user:
            shutil.chown(home, user)
        command = ["initdb", "-D", home / "data", "-A", "trust", "-U", "postgres", "--no-sync"]
        subprocess.run(command, user=user, cwd=home, check=True, stdout=subprocess.DEVNULL)
        options = ["-k", name, "-c", "listen_addresses=", "-c", "fsync=off"]
        server = subprocess.Popen(
            ["postgres", "-D", home / "data", *options],
            user=user, cwd=home, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        try:
            while not (home / ".s.PGSQL.5432").exists():
                time.sleep(0.1)
            time.sleep(0.5)
            yield f"postgresql+psycopg://postgres@/postgres?host={name}"
        finally:
            server.terminate()
            server.wait(30)


def milliseconds(what: Callable[[], Any]) -> tuple[float, float, float]:
    """Of several calls, once warm: median and longest by the wall, median of this process's own.

    The last is what a busy machine does not change; it leaves a server's share out.
    """
    walls, owns = [], []
    for _ in range(WARM + ROUNDS):
        began, own = time.perf_counter(), time.process_time()
        what()
        walls.append(1000 * (time.perf_counter() - began))
        owns.append(1000 * (time.process_time() - own))
    return statistics.median(walls[WARM:]), max(walls[WARM:]), statistics.median(owns[WARM:])


def measure(where: str, name: str, machines: int, readings: int) -> None:
    """Fill a new store, and time each view of it."""
    now = START + timedelta(days=365 * YEARS + 1)
    with Store.open(where) as store:
        began = time.perf_counter()
        Filler(store).fill(machines, readings)
        filled = time.perf_counter() - began
        if name == "PostgreSQL":
            with store._engine.connect() as connection:
                connection.exec_driver_sql("ANALYZE")
                connection.commit()
        mine = store.machine("machine 7") or store.machines()[0]

        def view() -> None:
            told = history(store, mine.name, now)
            for series in told["series"]:
                history_chart(series)

        views = {
            "one machine, charts drawn": view,
            "the workshop": lambda: history(store, None, now),
            "what is due": lambda: coming(store, mine, now),
        }
        for what, call in views.items():
            median, longest, own = milliseconds(call)
            print(
                f"| {name} | {readings:,} | {what} | {median:.0f} | {longest:.0f} | {own:.0f}"
                f" | {filled:.0f} |",
                flush=True,
            )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--readings", type=int, nargs="+", default=[10_000, 100_000, 1_000_000])
    parser.add_argument("--machines", type=int, default=200)
    parser.add_argument("--no-postgresql", action="store_true")
    given = parser.parse_args()
    print("| database | readings | view | median ms | longest ms | own ms | filled in s |")
    print("|---|--:|---|--:|--:|--:|--:|")
    for readings in given.readings:
        with tempfile.TemporaryDirectory(prefix="asleft-history-") as folder:
            measure(folder, "SQLite", given.machines, readings)
        if not given.no_postgresql:
            with postgresql() as url:
                measure(url, "PostgreSQL", given.machines, readings)


if __name__ == "__main__":
    main()
