"""A store on a real server as several laptops see it: readings that wait, and whose machine it is.

Killed servers and laptops, and networks cut in mid commit, are `python -m benchmarks.sharing`; a
share of that is run here.
"""

from __future__ import annotations

import itertools
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from sqlalchemy import Engine, NullPool, create_engine, make_url, text

import asleft.record.server
from asleft.bench import Ask, Bench
from asleft.bench.line.holding import Holding
from asleft.cli.app import run
from asleft.errors import InputError, LineError, RefusedError, StoreAwayError, StoreError
from asleft.record import Store, Workplace
from asleft.record.sharing.leases import Lease
from asleft.record.sharing.store import SharedStore
from asleft.units import Typed, parse_typed

pytestmark = pytest.mark.system("initdb", "postgres")
NAMES = itertools.count()


@dataclass
class Shop:
    """A database of the test's own, and the way to it, which can be cut."""

    plain: Engine
    url: str
    way: Path
    leads_to: Path
    folder: Path
    told: dict[str, list[str]] = field(default_factory=dict)

    def cut(self) -> None:
        """Nobody gets there any more, and who was there is thrown out."""
        self.way.unlink()
        ends = text("SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = :shop")
        with self.plain.connect() as connection:
            connection.execute(ends, {"shop": make_url(self.url).database})

    def mend(self) -> None:
        self.way.symlink_to(self.leads_to)

    def open(self, person: str) -> SharedStore:
        """The store on this person's laptop."""
        store = Store.at(Workplace(self.folder / person, self.url, person))
        assert isinstance(store, SharedStore)
        store.tell_to(self.told.setdefault(person, []).append)
        return store


@pytest.fixture(scope="module")
def empty(server: str) -> str:
    """A database with all the tables, from which others are made in no time."""
    Store.open(server.replace("@/postgres?", "@/template1?")).close()
    return "template1"


@pytest.fixture
def shop(server: str, empty: str, tmp_path: Path) -> Iterator[Shop]:
    name = f"shop{next(NAMES)}"
    plain = create_engine(server, isolation_level="AUTOCOMMIT")
    with plain.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name} TEMPLATE {empty}")
    way, there = tmp_path / "way", Path(str(make_url(server).query["host"]))
    way.symlink_to(there)
    yield Shop(plain, f"postgresql://postgres@/{name}?host={way}", way, there, tmp_path)
    plain.dispose()


def until_s(shop: Shop, query: str = "SELECT until_s FROM lease") -> float:
    """Until when the one machine is held."""
    with create_engine(shop.url, poolclass=NullPool).begin() as connection:
        return float(connection.exec_driver_sql(query).scalar_one())


def begin(store: Store) -> int:
    machine = store.add_machine({"name": "orrery printer"})
    calibration = store.open_calibration(machine, versions={}, person=None, conditions={})
    return store.start_trial(
        calibration, "feed", parameters={}, steps=[], kept_id=None, instrument={}, making={}
    )


def read(store: Store, trial: int, key: str, raw: str = "25.02") -> int:
    place = {"marked_mm": 120.0}
    return store.add_reading(trial, key=key, place=place, value=float(raw), raw=raw, done={})


def read_in(store: Store, trial: int) -> list[tuple[str, int, str, str | None, str | None]]:
    return [(r.key, r.take, r.raw, r.person, r.void_reason) for r in store.readings(trial)]


def test_readings_wait_while_the_store_is_away_and_come_in_once_in_order(shop: Shop) -> None:
    store = shop.open("Ottilie")
    trial = begin(store)
    read(store, trial, "a")
    shop.cut()
    read(store, trial, "b")
    store.mark_step(trial, "c", "started")
    wrong = read(store, trial, "c", "52.02")
    assert {row.id: row.raw for row in store.readings(trial)}[wrong] == "52.02"
    store.void_reading(wrong, "digits the wrong way round")
    read(store, trial, "c")
    with pytest.raises(RefusedError, match="has a reading already"):
        read(store, trial, "c")
    told = shop.told["Ottilie"]
    assert len(told) == 1 and "kept on this computer" in told[0]
    known = read_in(store, trial), [(s.key, s.state) for s in store.steps(trial)]
    with pytest.raises(StoreAwayError):  # what is to go to a machine is not even begun
        store.start_change(1, settings=[], kind="set")
    shop.mend()
    read(store, trial, "d")
    assert told[1:] == ["What waited for the store was delivered (5 rows)."]
    rows = read_in(store, trial)
    assert rows[:-1] == known[0] and [(s.key, s.state) for s in store.steps(trial)][:-1] == known[1]
    assert [row[:2] for row in rows] == [("a", 0), ("b", 0), ("c", 0), ("c", 1), ("d", 0)]
    assert [row[4] for row in rows] == [None, None, "digits the wrong way round", None, None]
    assert {row[3] for row in rows} == {"Ottilie"}
    moments = [row.at for row in store.readings(trial)]
    assert moments == sorted(moments)
    with pytest.raises(RefusedError, match="has a reading already"):
        read(store, trial, "d")
    assert read_in(store, trial) == rows
    shop.cut()
    read(store, trial, "e")
    shop.mend()
    shop.open("Ottilie").close()  # as the page does at every look
    read(store, trial, "f")
    assert told[3:] == [
        "What waited for the store was delivered (1 row).",
        "What waited for the store was delivered.",
    ]
    store.close()


def test_what_waits_outlives_the_program_and_is_never_doubled(shop: Shop) -> None:
    store = shop.open("Ottilie")
    trial = begin(store)
    store.steps(trial)
    shop.cut()
    for key in ("a", "b"):
        read(store, trial, key)
    store.close()
    (lane,) = (shop.folder / "Ottilie" / "outbox").glob("trial-*.jsonl")
    waited = lane.read_bytes()
    shop.mend()
    for _ in range(2):  # the second time as if it had been killed before it emptied the file
        lane.write_bytes(waited + b'{"token": "cut short')
        again = shop.open("Ottilie")
        assert [row[0] for row in read_in(again, trial)] == ["a", "b"]
        assert lane.read_bytes() == b""
        again.close()
    assert shop.told["Ottilie"][1:] == ["What waited for the store was delivered (2 rows)."]
    lane.write_bytes(waited)
    shop.url = shop.url.replace("/shop", "/elsewhere")
    with shop.plain.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {make_url(shop.url).database}")
    other = shop.open("Ottilie")
    begin(other)
    read(other, trial, "a")  # a trial of the same number
    assert len(other.readings(trial)) == 1 and lane.read_bytes() == waited
    assert "for another store" in shop.told["Ottilie"][-1]
    other.close()


def test_what_comes_in_late_is_kept_and_disturbs_nobody(shop: Shop) -> None:
    first, second = shop.open("Ottilie"), shop.open("Ansgar")
    trial = begin(first)
    first.steps(trial)
    shop.cut()
    first.mark_step(trial, "a", "started")
    read(first, trial, "a", "25.11")
    first.mark_step(trial, "b", "started")
    read(first, trial, "b", "25.12")
    shop.mend()
    second.mark_step(trial, "a", "started")
    read(second, trial, "a", "25.33")
    steps = second.steps(trial)
    read(first, trial, "c")
    assert [row[:4] for row in read_in(second, trial)] == [
        ("a", 0, "25.33", "Ansgar"),
        ("a", 1, "25.11", "Ottilie"),
        ("b", 0, "25.12", "Ottilie"),
        ("c", 0, "25.02", "Ottilie"),
    ]
    assert "read anew on another computer" in str(read_in(second, trial)[1][4])
    assert [s for s in second.steps(trial) if s.key == "a"] == steps
    assert '"started"' in (shop.folder / "Ottilie" / "outbox" / "aside.jsonl").read_text()
    shop.cut()
    read(first, trial, "d")
    shop.mend()
    second.end_trial(trial, "done", "", None)
    assert "after the trial had ended" in str(read_in(first, trial)[-1][4])
    first.close()
    second.close()


def test_one_person_at_a_machine(shop: Shop) -> None:
    mine, theirs = shop.open("Ottilie"), shop.open("Ansgar")
    machine = mine.add_machine({"name": "orrery printer"})
    lease = Lease("t1", machine, "long-bench#1", "Ottilie", "asleft in a terminal")
    other = Lease("t2", machine, "window-bench#2", "Ansgar", "asleft, a page")
    assert mine.take_lease(lease) is None
    assert mine.take_lease(Lease("t3", machine, "long-bench#1", "Ottilie", "a page")) is None
    with pytest.raises(LineError) as refused:
        theirs.take_lease(other)
    assert refused.value.exit_status == 3
    assert "'orrery printer' is in use by Ottilie on long-bench (asleft" in refused.value.message
    assert "since 20" in refused.value.message and "90 s" in str(refused.value.hint)
    mine.release_lease("t1")
    mine.release_lease("t3")
    assert theirs.take_lease(other, lease_s=0.0) is None
    left = mine.take_lease(lease)  # it had run out at once
    assert left is not None and left.startswith("Ansgar on window-bench")
    assert theirs.renew_lease("t2") is False and mine.renew_lease("t1") is True
    mine.close()
    theirs.close()


def test_a_laptop_that_is_not_heard_of_loses_the_machine_and_is_told(shop: Shop) -> None:
    mine, theirs = shop.open("Ottilie"), shop.open("Ansgar")
    machine = mine.add_machine({"name": "orrery printer"})
    told: list[str] = []
    one = Holding(mine, shop.folder / "1", holder="a page", tell=told.append, renew_s=0.02)
    two = Holding(theirs, shop.folder / "2", holder="a page", tell=told.append)
    one.hold(machine)
    began = until_s(shop)
    for _ in range(500):  # it is renewed by itself
        if until_s(shop) > began:
            break
        time.sleep(0.02)
    assert until_s(shop) > began
    with pytest.raises(LineError, match="in use by Ottilie"):
        two.hold(machine)
    one._over.set()  # as a laptop that was shut
    one._thread.join()  # type: ignore[union-attr]
    until_s(shop, "UPDATE lease SET until_s = until_s - 100 RETURNING until_s")
    two.hold(machine)
    assert "was held by Ottilie" in told[0] and "yours now" in told[0]
    one._renew_one(one._held[machine])
    with pytest.raises(LineError, match="not heard of"):
        one.hold(machine)  # before the next movement, and before any change
    for each in (one, two):
        each.release()
    assert mine.take_lease(Lease("t9", machine, "x", "Ottilie", "")) is None
    mine.close()
    theirs.close()


def test_the_command_line_works_there_under_a_name_and_shows_no_password(
    shop: Shop, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    home = shop.folder / "home"
    url = shop.url.replace("postgres@", "postgres:h1dden@")
    given = ["--home", str(home), "--shared-store", url, "--person", "Ottilie"]
    assert run([*given, "machine", "describe", "orrery printer", "--drive", "cartesian"]) == 0
    assert run([*given, "found", "--steps", "X=80,Y=80,Z=400,E=93"]) == 0
    store = shop.open("Ansgar")
    rows = [*store.machines(), *store.calibrations(1), *store.kept_states(1)]
    assert [row.person for row in rows] == ["Ottilie"] * 3
    store.take_lease(Lease("t", 1, "window-bench#2", "Ansgar", "asleft, a page"))
    capfd.readouterr()
    assert run([*given, "found", "--steps", "X=81,Y=80,Z=400,E=93"]) == 3
    assert "is in use by Ansgar on window-bench" in " ".join(capfd.readouterr().err.split())
    assert len(store.kept_states(1)) == 1
    store.close()
    shop.cut()
    monkeypatch.setenv("ASLEFT_STORE", url)
    assert run(["--home", str(home), "machine", "list"]) == 2
    assert "does not answer" in capfd.readouterr().err
    assert run(["--home", str(home), "--shared-store", "mysql://a:h1dden@b/c", "due"]) == 2
    assert "no address of a store" in (said := capfd.readouterr().err) and "h1dden" not in said
    assert not [p for p in home.rglob("*") if p.is_file() and b"h1dden" in p.read_bytes()]


def test_a_server_that_stands_still_is_not_waited_for(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(asleft.record.server, "ANSWER_S", 0.3)
    store = shop.open("Ottilie")
    began_s = time.monotonic()
    with pytest.raises(StoreAwayError), store._reading() as connection:
        connection.exec_driver_sql("SELECT pg_sleep(15)")
    assert time.monotonic() - began_s < 10
    assert store.machines() == []  # a new connection finds it well
    with store._engine.begin() as connection, asleft.record.server.patient(connection):
        connection.exec_driver_sql("SELECT pg_sleep(0.6)")
    store.close()


def test_what_a_server_says_is_told_in_words(
    shop: Shop, server: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    with shop.plain.connect() as connection:
        connection.exec_driver_sql("CREATE ROLE visitor LOGIN")
        connection.exec_driver_sql("CREATE DATABASE bare TEMPLATE template0")
    visitor = server.replace("postgres@/postgres", "visitor@/bare")
    for url, said in (
        (visitor, "may not make or write"),
        (server.replace("postgres@", "nobody@"), "no such user or database"),
        (server.replace("@/postgres", "@/nowhere"), "no such user or database"),
        (server.replace("?host=", "?host=/nowhere"), "does not answer"),
    ):
        with pytest.raises(StoreError, match=said) as refused:
            Store.open(url)
        assert isinstance(refused.value, StoreAwayError) == ("answer" in said)
    monkeypatch.setitem(sys.modules, "psycopg", None)
    with pytest.raises(InputError, match="not installed") as missing:
        Store.open(server)
    assert "asleft[postgres]" in str(missing.value.hint)


class Reader:
    """Reads a piece that came out 0.4 % large; before some questions something happens."""

    def __init__(self, happens: dict[int, Callable[[], None]]) -> None:
        self.told: list[str] = []
        self._happens, self._asked = happens, 0

    def tell(self, text: str) -> None:
        self.told.append(text)

    def confirm(self, ask: Ask) -> bool:
        return True

    def number(self, ask: Ask) -> Typed:
        self._asked += 1
        self._happens.pop(self._asked, lambda: None)()
        sign = {"outside": 1, "inside": -1, "same": 0}[ask.details["faces"]]
        return parse_typed(f"{ask.details['nominal_mm'] * 1.004 + 0.1 * sign:.2f}", where="mm")

    def choose(self, ask: Ask) -> str:
        raise AssertionError(ask.key)

    def progress(self, what: str, done: float, remaining_s: float | None) -> None:
        pass


def test_a_whole_trial_goes_on_while_the_store_comes_and_goes(shop: Shop, tmp_path: Path) -> None:
    place = Workplace(tmp_path / "bench", shop.url, "Ottilie")
    person = Reader({3: shop.cut, 6: shop.mend, 9: shop.cut})
    with Bench(place, person, holder="a test") as bench:
        bench.found_from_steps({"X": 80.0, "Y": 80.0, "Z": 400.0, "E": 93.0})
        with pytest.raises(StoreAwayError):  # all is read, and nobody there to say what it means
            bench.trial("span", {})
    begun_again = Reader({})
    shop.mend()
    with Bench(place, begun_again, holder="a test") as bench:
        told = bench.trial("span", {})
    alone = Reader({})
    with Bench(tmp_path / "alone", alone, holder="a test") as bench:
        bench.found_from_steps({"X": 80.0, "Y": 80.0, "Z": 400.0, "E": 93.0})
        same = bench.trial("span", {})
    assert told["readings"] == same["readings"] and told["result"] == same["result"]
    assert told["outcome"] == "done" and len(told["readings"]) > 12
    said = [text for text in person.told if "store" in text]
    assert ["delivered (" in text for text in said] == [False, True, False]
    assert any("delivered (" in text for text in begun_again.told)


def test_a_share_of_the_campaign() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "benchmarks.sharing", "--few"],
        capture_output=True,
        text=True,
        cwd=Path(__file__).parents[2],
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr[-2000:]
    assert done.stdout.count(" 0 lost, 0 doubled, 0 out of order") == 4
