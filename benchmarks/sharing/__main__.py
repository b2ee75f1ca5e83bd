"""Several laptops, one store: nothing lost and nothing doubled, whatever goes away in the middle.

    python -m benchmarks.sharing [--seed 1] [--few]

A real server is started here on a private port. Eight laptops write at once; the server is killed
and started again under four of them; the network is cut in mid commit (before the word goes out,
once it went out, once its answer came); laptops are killed while readings wait; what goes out is
taken and never answered. Judged is what the store holds: every promised reading stands once, in
order. Status 1 where one does not.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

from benchmarks.sharing.laptop import Laptop, begin, enter
from benchmarks.sharing.network import Moment, Network
from benchmarks.sharing.server import Server

from asleft.errors import StoreAwayError
from asleft.record import Store, Workplace
from asleft.record.sharing.waiting import PAUSE_S

BUSY_AGAIN_S = 25.0
MOMENTS: tuple[Moment, ...] = ("before", "sent", "answered")


@dataclass
class Size:
    """How much is done: of the whole campaign, or of the share that the tests run."""

    readings: int = 40
    kills: int = 20
    cuts: int = 30
    deaths: int = 10
    freezes: int = 3
    under_kills: int = 4


FEW = Size(readings=3, kills=1, cuts=1, deaths=1, freezes=0, under_kills=2)


@dataclass
class Seen:
    """What one part came to."""

    part: str
    laptops: int = 0
    promised: int = 0
    lost: int = 0
    doubled: int = 0
    disordered: int = 0
    notes: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)

    def judge(self, store: Store, trial: int, promised: list[int]) -> None:
        """Compare what a laptop promised with what the store holds."""
        self.laptops += 1
        self.promised += len(promised)
        rows = store.readings(trial)
        standing = Counter(int(row.raw) for row in rows if not row.voided)
        self.lost += sum(1 for n in promised if not standing[n])
        self.doubled += sum(count - 1 for count in standing.values() if count > 1)
        order = [int(row.raw) for row in rows]
        self.disordered += sum(a > b for a, b in pairwise(order))
        marks = Counter((row.key, row.state) for row in store.steps(trial))
        for n in promised:  # with a kill in between, a step is begun again and said so again
            for state in ("started", "done"):
                if not marks[(f"feed.{n}", state)]:
                    self.lost += 1
        taken_back = sum(row.voided for row in rows)
        if taken_back < sum(n % 5 == 0 for n in promised):
            self.wrong.append(f"trial {trial}: a reading taken back stands, or is gone")

    @property
    def good(self) -> bool:
        """Whether nothing was lost, doubled, out of order or otherwise wrong."""
        return not (self.lost or self.doubled or self.disordered or self.wrong)

    def __str__(self) -> str:
        notes = "".join(f", {count} {what}" for what, count in sorted(self.notes.items()))
        lines = [
            f"{self.part}: {self.laptops} laptops, {self.promised} readings promised, {self.lost}"
            f" lost, {self.doubled} doubled, {self.disordered} out of order{notes}"
        ]
        return "\n  ".join(lines + self.wrong)


def laptops(folder: Path, url: str, part: str, number: int) -> list[Laptop]:
    return [Laptop(folder / f"{part}-{n}", url, f"{part} {n}") for n in range(1, number + 1)]


def at_once(server: Server, folder: Path, size: Size) -> Seen:
    """Eight laptops write at the same time, into a store that none of them has opened before."""
    seen = Seen("eight at once")
    url = server.url(database=server.database("at_once"))
    fleet = laptops(folder, url, "at-once", 8)
    for each in fleet:
        each.start(size.readings)
    for each in fleet:
        if status := each.listen():
            seen.wrong.append(f"{each.name} ended with status {status}")
    with Store.open(url) as store:
        for each in fleet:
            seen.judge(store, each.trial, each.promised)
        if len(store.instruments()) != 1 or len(store.machines()) != 9:
            seen.wrong.append("one caliper and nine machines were described")
    seen.notes["of them at the machine that all want"] = held = sum(each.held for each in fleet)
    if held != 1:
        seen.wrong.append("a machine is one person's at a time")
    return seen


def server_killed(server: Server, folder: Path, size: Size, dice: random.Random) -> Seen:
    """The server is killed and started again while several laptops write."""
    seen = Seen("server killed")
    url = server.url(database=server.database("killed"))
    fleet = laptops(folder, url, "killed", size.under_kills)
    Store.open(url).close()
    for each in fleet:
        each.start()
    for each in fleet:  # without the store nobody begins
        each.ready.wait(60)
    for _ in range(size.kills):
        _busy_again(server, fleet, caught_up=dice.random() < 0.5)
        time.sleep(dice.uniform(0.0, 0.3))
        server.kill()
        time.sleep(dice.uniform(0.0, 0.3))
        server.start()
        for each in fleet:
            each.hear()
        seen.notes["kills"] += 1
    time.sleep(0.3)
    for each in fleet:
        each.tell_to_end()
    for each in fleet:
        if status := each.listen():
            seen.wrong.append(f"{each.name} ended with status {status}")
    with Store.open(url) as store:
        for each in fleet:
            seen.judge(store, each.trial, each.promised)
            seen.notes["times told that readings wait"] += sum("go on" in t for t in each.told)
    return seen


def _busy_again(server: Server, fleet: list[Laptop], *, caught_up: bool) -> None:
    """Wait until the laptops write again: in the midst of what waited, or with all of it in."""
    so_far, until_s = server.readings("killed"), time.monotonic() + BUSY_AGAIN_S
    behind = set(range(len(fleet))) if caught_up else set()
    while time.monotonic() < until_s:
        behind -= {n for n in behind if not fleet[n].behind}
        if not behind and server.readings("killed") >= so_far + 2 * len(fleet):
            return
        time.sleep(0.005)


def cut_in_commit(server: Server, folder: Path, size: Size) -> Seen:
    """The network is cut in mid commit: of readings, and of a row that does not wait."""
    seen = Seen("cut in mid commit")
    with Network(server.port) as network:
        url = server.url(network.port, server.database("cut"))
        with Store.at(Workplace(folder / "cut", url, "the person")) as store:
            trial = begin(store, "cut")
            events: Counter[str] = Counter()
            promised = []
            for n in range(1, 3 * size.cuts + 1):
                moment, down = MOMENTS[n % 3], n % 2 == 0
                network.cut_at_next_commit(moment, stay_down=down)
                enter(store, trial, n)
                promised.append(n)
                network.mend()
                network.cut_at_next_commit(moment)
                try:
                    store.add_event(1, "other", f"{n}")
                    events[f"{n}"] = 1
                except StoreAwayError as error:
                    known = "not known" not in error.message
                    events[f"{n}"] = 0 if known else -1
            store.trial(trial)  # delivers what waits
            seen.judge(store, trial, promised)
            stored = Counter(row.text for row in store.events(1))
            for text, count in events.items():
                if count >= 0 and stored[text] != count:
                    seen.wrong.append(f"event {text}: said {count}, stored {stored[text]}")
            seen.notes["cuts"] = network.cuts
            seen.notes["other rows kept"] = sum(stored.values())
            seen.notes["other rows refused"] = sum(count == 0 for count in events.values())
    return seen


def laptop_killed(server: Server, folder: Path, size: Size, dice: random.Random) -> Seen:
    """A laptop is killed while readings wait on it, or as they come in; it is started again."""
    seen = Seen("laptop killed")
    with Network(server.port) as network:
        url = server.url(network.port, server.database("deaths"))
        (laptop,) = laptops(folder, url, "deaths", 1)
        for death in range(size.deaths + 1):
            laptop.start()
            laptop.ready.wait(60)
            time.sleep(dice.uniform(0.1, 0.5))
            if death % 2 == 0:
                network.cut()
                time.sleep(dice.uniform(0.05, 0.3))
            else:
                network.cut_at_next_commit(MOMENTS[death % 3])
                time.sleep(dice.uniform(0.0, 0.1))
            if death < size.deaths:
                laptop.kill()
                seen.notes["kills"] += 1
            network.mend()
        laptop.tell_to_end()
        if status := laptop.listen():
            seen.wrong.append(f"{laptop.name} ended with status {status}")
    with Store.open(server.url(database="deaths")) as store:
        seen.judge(store, laptop.trial, laptop.promised)
        seen.notes["times told that readings came in"] = sum(
            "delivered (" in text for text in laptop.told
        )
    return seen


def network_frozen(server: Server, folder: Path, size: Size) -> Seen:
    """What goes out is taken and never answered, for longer than anybody waits."""
    seen = Seen("network frozen")
    with Network(server.port) as network:
        url = server.url(network.port, server.database("frozen"))
        with Store.at(Workplace(folder / "frozen", url, "the person")) as store:
            trial, longest_s = begin(store, "frozen"), 0.0
            for n in range(1, 10 * size.freezes + 1):
                if n % 10 == 3:
                    network.freeze()
                began_s = time.monotonic()
                enter(store, trial, n)
                longest_s = max(longest_s, time.monotonic() - began_s)
                if n % 10 == 8:
                    network.thaw()
                    time.sleep(PAUSE_S)
            seen.judge(store, trial, list(range(1, 10 * size.freezes + 1)))
            seen.notes["freezes"] = size.freezes
            seen.notes["s waited for a reading at most"] = round(longest_s)
    return seen


def main() -> int:
    """Run all of it; the exit status."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--few", action="store_true", help="the share that the tests run")
    given = parser.parse_args()
    size, dice = FEW if given.few else Size(), random.Random(given.seed)  # noqa: S311
    good = True
    with tempfile.TemporaryDirectory() as name, Server() as server:
        folder = Path(name)
        Store.open(server.url()).close()  # so that the laptops, forked, have all that is imported
        for part in (
            lambda: at_once(server, folder, size),
            lambda: server_killed(server, folder, size, dice),
            lambda: laptop_killed(server, folder, size, dice),
            lambda: cut_in_commit(server, folder, size),
            *([lambda: network_frozen(server, folder, size)] if size.freezes else []),
        ):
            began_s = time.monotonic()
            seen = part()
            print(f"{seen} ({time.monotonic() - began_s:.1f} s)", flush=True)
            good = good and seen.good
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
