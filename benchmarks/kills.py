"""Killed without a word, again and again, in the middle of whole calibrations.

    python -m benchmarks.kills --n 500 --seed 1 [--speed 1000] [--mean-life 1.6]

A program runs the whole evening at a practice machine, for a person at the other end of a pipe. At
random moments it, the owner of its line, or both get kill -9; it is started again and goes on, to
the record. Judged is what is seen from outside: the store, and what the controller received.
Status 1 where anything was lost, doubled, altered, left hot, or did not go on.
"""

from __future__ import annotations

import argparse
import sqlite3
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from benchmarks.kills_life import GONE_WITHIN_S, Life, Sent

from asleft.cli.practice_person import PracticePerson
from asleft.practice.hands import Hands
from asleft.record.engine import FILE_NAME

VICTIMS = ("program", "owner", "both")
JOBS = (
    *("found", "feed", "set feed", "feed again"),
    *("span", "span more", "set span", "power", "proof", "record"),
)
AIMED = 0.5  # so many kills are meant for a job drawn at random: the short ones are seldom met else
WRONG_AT_MOST = 5  # of one calibration: then it is left
MEAN_LIFE_S = 1.6  # ours: several kills in one calibration, and some progress in every life
NUMBERING = "M110"
OFF = ("M104", "M140")


@dataclass
class Tally:
    """What came of all the kills."""

    kills: Counter[str] = field(default_factory=Counter)
    during: Counter[str] = field(default_factory=Counter)
    calibrations: int = 0
    readings: int = 0
    hot: int = 0  # kills that left a heater on with nobody to switch it off
    off_first: int = 0  # connections after a kill while heating
    wrong: list[str] = field(default_factory=list)

    @property
    def killed(self) -> int:
        """How many kills hit."""
        return sum(self.kills.values())


class Calibration:
    """One calibration of one practice machine, killed until it is done.

    Args:
        hands: the practice machine.
        home: a new folder.
        chance: says when and whom.
        tally: what is wrong goes there.
        most: no more kills than these; then it is left to finish.
        mean_s: how long a life is, on average.
    """

    def __init__(
        self,
        hands: Hands,
        home: Path,
        chance: np.random.Generator,
        tally: Tally,
        *,
        most: int,
        mean_s: float,
    ) -> None:
        self._hands, self._home, self._chance, self._tally = hands, home, chance, tally
        self._person = PracticePerson(hands, say=lambda _: None, progress=lambda *_: None)
        self._left, self._mean_s = most, mean_s
        self._last = "nothing"
        self._before = len(tally.wrong)
        self._sent: list[Sent] = []
        self._done: dict[str, Any] = {}
        self._as_found: tuple[Any, ...] | None = None

    def run(self) -> None:
        """To the end, whatever happens on the way."""
        lives = 0
        while "record" not in self._done:
            lives += 1
            if lives > 200:
                self._wrong("it did not come to its end in 200 lives")
            if lives > 200 or len(self._tally.wrong) - self._before > WRONG_AT_MOST:
                return
            self._live()
            self._judge_store()
        self._tally.calibrations += 1
        self._tally.readings += len([each for each in self._sent if each.acknowledged])

    def _live(self) -> None:
        """One life of the program, from its start to its kill or its end."""
        hot = bool(self._hands.ask("peek_heaters")["on"])
        heated = hot or was_heating(self._home)
        mark_s = max((own_s for own_s, _ in self._received()), default=0.0)
        victim = str(self._chance.choice(VICTIMS)) if self._left > 0 else None
        life = Life(self._home, self._hands, self._person, self._sent, self._done)
        life.run(victim, *self._moment())
        if life.struck is not None:
            self._left -= 1
            self._tally.kills[life.struck] += 1
            self._tally.during[life.job] += 1
            self._last = f"kill of {life.struck} in {life.job!r}"
        elif life.status != 0:
            self._wrong(f"it ended with {life.status} in {life.job!r}: {life.error}")
            self._left -= 1
        if not life.is_gone:
            self._wrong(f"a process of ours was still there after {GONE_WITHIN_S:g} s")
        said = [text for own_s, text in self._received() if own_s > mark_s]
        if heated:
            self._judge_first(said)
        if self._hands.ask("peek_heaters")["on"]:
            if life.struck in ("owner", "both"):
                self._tally.hot += 1
            elif said:  # else it was killed before it had a line, as hot as it found the machine
                self._wrong(f"left hot after {life.struck} in {life.job!r}")

    def _moment(self) -> tuple[float, str | None]:
        """How many seconds after what the kill comes: a job not done yet, or the start (None)."""
        left = [job for job in JOBS if job not in self._done]
        if left and self._chance.random() < AIMED:
            return float(self._chance.exponential(self._mean_s / 4)), str(self._chance.choice(left))
        return 0.05 + float(self._chance.exponential(self._mean_s)), None

    def _received(self) -> list[tuple[float, str]]:
        lines = self._hands.ask("peek_received", last=10**6)["lines"]
        return [(each["own_s"], each["text"]) for each in lines]

    def _judge_first(self, lines: list[str]) -> None:
        """After a kill while heating, heaters off goes out first, right behind the numbering."""
        said = [line for line in lines if NUMBERING not in line and line.strip()]
        if not said:
            return  # killed before it said anything
        self._tally.off_first += 1
        if not any(f"{code} " in said[0] and "S0" in said[0] for code in OFF):
            self._wrong(f"killed while heating, and the first that went out was {said[0]!r}")

    def _judge_store(self) -> None:
        """Every reading that was acknowledged is there once; the state as found is as it was."""
        if not (self._home / FILE_NAME).is_file():
            return
        kept, found = stored(self._home)
        twice = [each for each, times in Counter(kept).items() if times > 1]
        if twice:
            self._wrong(f"doubled: {twice}")
        texts = Counter((key, raw) for _, key, raw in kept)
        acknowledged = Counter(
            (each.key, each.raw) for each in self._sent if each.acknowledged and each.is_reading
        )
        everything = Counter((each.key, each.raw) for each in self._sent)
        if acknowledged - texts:
            self._wrong(f"lost: {acknowledged - texts}")
        if texts - everything:
            self._wrong(f"never entered: {texts - everything}")
        if self._as_found is None:
            self._as_found = found
        elif found != self._as_found:
            self._wrong("as found is not as it was")

    def _wrong(self, what: str) -> None:
        wrong = f"seed {self._hands.hello['seed']}, after {self._last}: {what}"
        self._tally.wrong.append(wrong)
        sys.stderr.write(f"wrong: {wrong}\n")


def stored(home: Path) -> tuple[list[tuple[int, str, str]], tuple[Any, ...] | None]:
    """Readings of a store (trial, key, raw) that stand, and its first kept state."""
    with closing(sqlite3.connect(home / FILE_NAME)) as connection:
        readings = connection.execute(
            "SELECT trial_id, key, raw FROM reading WHERE id NOT IN"
            " (SELECT reading_id FROM reading_void) ORDER BY id"
        ).fetchall()
        found = connection.execute("SELECT * FROM kept_state ORDER BY id LIMIT 1").fetchone()
    return readings, found


def was_heating(home: Path) -> bool:
    """Whether the last trial had begun to heat, and neither cooled nor ended."""
    if not (home / FILE_NAME).is_file():
        return False
    with closing(sqlite3.connect(home / FILE_NAME)) as connection:
        trial = connection.execute("SELECT max(id) FROM trial").fetchone()[0]
        ended = connection.execute("SELECT 1 FROM trial_end WHERE trial_id = ?", [trial])
        if trial is None or ended.fetchone():
            return False
        marks = connection.execute(
            "SELECT key, state FROM step_mark WHERE trial_id = ? ORDER BY id", [trial]
        )
        last = dict(marks.fetchall())
    return "feed.heat" in last and last.get("feed.cool") != "done"


def campaign(
    n: int,
    seed: int,
    *,
    speed: float,
    per_calibration: int,
    mean_s: float,
    say: Callable[[str], None],
) -> Tally:
    """Kill until `n` kills hit.

    Args:
        n: how many.
        seed: of every moment and of every practice machine.
        speed: of the practice machines.
        per_calibration: after so many kills a calibration is left to finish.
        mean_s: how long a life is, on average.
        say: told how it goes.
    """
    chance, tally = np.random.default_rng(seed), Tally()
    began_s, turn = time.monotonic(), 0
    while tally.killed < n and len(tally.wrong) < 20:
        most = min(per_calibration, n - tally.killed)
        with (
            tempfile.TemporaryDirectory(prefix="asleft-kills-") as folder,
            Hands(seed * 10_000 + turn, speed=speed) as hands,
        ):
            home = Path(folder) / "home"
            Calibration(hands, home, chance, tally, most=most, mean_s=mean_s).run()
        turn += 1
        say(
            f"{tally.killed:4d} kills, {tally.calibrations} calibrations,"
            f" {time.monotonic() - began_s:.0f} s, {len(tally.wrong)} wrong"
        )
    return tally


def main() -> int:
    """Run the campaign and print what came of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--n", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--speed", type=float, default=1000.0)
    parser.add_argument("--per-calibration", type=int, default=12)
    parser.add_argument("--mean-life", type=float, default=MEAN_LIFE_S, metavar="S")
    asked = parser.parse_args()
    tally = campaign(
        asked.n,
        asked.seed,
        speed=asked.speed,
        per_calibration=asked.per_calibration,
        mean_s=asked.mean_life,
        say=lambda text: print(text, flush=True),
    )
    print(f"\nkilled: {dict(tally.kills)}; in: {dict(tally.during)}")
    print(f"{tally.hot} left a heater on with nobody there; {tally.readings} answers entered")
    print(f"{tally.off_first} connections after a kill while heating began with heaters off")
    for each in tally.wrong:
        print(f"  wrong: {each}")
    print("nothing lost, doubled or left hot" if not tally.wrong else "NOT as it should be")
    return 1 if tally.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
