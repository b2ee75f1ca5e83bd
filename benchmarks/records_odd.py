"""Records of evenings that did not go as evenings go, for `records`: made at a practice machine.

All five trials with everything said of the evening; one that was broken off in the middle of a
piece; one of a store that lies elsewhere by now; the last of several years. Not for asking
anything of them.
"""

from __future__ import annotations

import json
import shutil
import tempfile
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from asleft.bench import Ask, Bench
from asleft.cli.practice_person import PracticePerson
from asleft.errors import AsleftError, Stopped
from asleft.pieces import FitPiece
from asleft.practice.hands import Hands
from asleft.units import Typed

SAID = {
    "measured_by": "the journeyman",
    "room_c": 24.5,
    "room_u_c": 1.0,
    "material": "PETG",
    "spool": "grey, bought in March",
    "nozzle_c": 235.0,
    "bed_c": 70.0,
    "dried": "4 h at 60 °C",
}
YEARS = 6


class Leaver:
    """The simulated person, who is gone at the question named."""

    def __init__(self, hands: Hands, gone_at: str | None = None) -> None:
        self._person = PracticePerson(hands, say=lambda *_: None, progress=lambda *_: None)
        self._gone_at = gone_at

    def tell(self, text: str) -> None:
        """Listens to nothing."""

    def progress(self, what: str, done: float, remaining_s: float | None) -> None:
        """Watches nothing."""

    def confirm(self, ask: Ask) -> bool:
        """As the simulated person."""
        return self._person.confirm(self._there(ask))

    def number(self, ask: Ask) -> Typed:
        """As the simulated person."""
        return self._person.number(self._there(ask))

    def choose(self, ask: Ask) -> str:
        """As the simulated person."""
        return self._person.choose(self._there(ask))

    def _there(self, ask: Ask) -> Ask:
        if ask.key == self._gone_at:
            raise Stopped("called away", where=ask.key)
        return ask


def everything(bench: Bench) -> None:
    """All five trials, changes between them, and all that can be said."""
    bench.found()
    bench.conditions(SAID)
    bench.event("filament", "the grey spool")
    bench.trial("traverse", {"along": "X", "span_mm": 120.0, "start_mm": 50.0})
    bench.trial("feed", {"temperature_c": 235.0})
    bench.set(None, from_findings=True, store=False)
    bench.trial("span", {})
    bench.set(None, from_findings=True, store=True)
    bench.trial("bead", {"density_g_cm3": 1.27})
    bench.trial("fit", {"piece": FitPiece(gauge_mm=8.0, parts="both")})
    bench.prove(power_cycle_now=True)
    bench.prove()


def broken_off(bench: Bench) -> None:
    """The person is called away at the seventh place, and nobody comes back."""
    bench.found()
    bench.trial("feed", {"temperature_c": 205.0})
    bench.trial("span", {})


def plain(bench: Bench) -> None:
    """Feed and span, put right."""
    bench.found()
    bench.trial("feed", {"temperature_c": 205.0})
    bench.trial("span", {})
    bench.set(None, from_findings=True, store=True)


def evening(
    home: Path, work: Callable[[Bench], None], *, now: datetime, gone_at: str | None = None
) -> dict[str, Any]:
    """One evening at a practice machine and its record; the same machine every time."""
    with Hands(7, speed=1000) as hands:
        started = datetime.now(UTC)
        with Bench(
            home,
            Leaver(hands, gone_at),
            holder="benchmarks.records",
            machine="case-maker",
            address=hands.address,
            clock=lambda: now + (datetime.now(UTC) - started),
        ) as bench:
            bench.describe_machine({"name": "case-maker", "travel_mm": [220, 220, 240]})
            try:
                work(bench)
            except AsleftError:
                if gone_at is None:
                    raise
            return bench.record(close=gone_at is None)


def moved(home: Path) -> dict[str, Any]:
    """The record of a store whose folder has another place than when the work was done."""
    start = datetime(2026, 3, 14, 18, 0, tzinfo=UTC)
    there = home.with_name("there")
    evening(home, plain, now=start)
    shutil.move(home, there)
    with Bench(there, Quiet(), holder="benchmarks.records", machine="case-maker") as bench:
        return bench.record(close=False)


class Quiet:
    """Nobody is asked anything."""

    def tell(self, text: str) -> None:
        """Listens to nothing."""


def years(home: Path) -> dict[str, Any]:
    """The record of the last of several calibrations, five months from one to the next."""
    start = datetime(2021, 3, 14, 18, 0, tzinfo=UTC)
    document: dict[str, Any] = {}
    for number in range(YEARS):
        document = evening(home, plain, now=start + timedelta(days=150 * number))
    return document


def make_odd(folder: Path) -> list[Path]:
    """Write those that are missing as JSON; all their paths."""
    start = datetime(2026, 3, 14, 18, 0, tzinfo=UTC)
    makers: dict[str, Callable[[Path], dict[str, Any]]] = {
        "everything": lambda home: evening(home, everything, now=start),
        "broken-off": lambda home: evening(home, broken_off, now=start, gone_at="span.1.7"),
        "moved": moved,
        "years": years,
    }
    paths = []
    for name, make in makers.items():
        paths.append(folder / f"{name}.json")
        if not paths[-1].exists():
            with tempfile.TemporaryDirectory() as place:
                document = make(Path(place) / "home")
            paths[-1].write_text(json.dumps(document, ensure_ascii=False), encoding="utf-8")
    return paths
