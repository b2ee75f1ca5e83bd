"""One life of the program that `benchmarks.kills` kills: both ends of its pipe.

Run as a program it is the victim: a bench and a whole evening, its person at the other end of
standard input and output, one JSON object a line. `Life` is the other end. Judges nothing.
"""

from __future__ import annotations

import contextlib
import json
import os
import signal
import subprocess
import sys
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from asleft.bench import Ask, Bench, Person
from asleft.bench.evening import whole_evening
from asleft.errors import AsleftError
from asleft.practice.hands import Hands
from asleft.units import Typed, parse_typed

GONE_WITHIN_S = 10.0
OPTIONS = {"temperature_c": 205.0, "instrument": "practice caliper"}


@dataclass
class Sent:
    """An answer that was entered; acknowledged when the program said anything after it."""

    key: str
    raw: str
    is_reading: bool
    acknowledged: bool = False


class Life:
    """The person's end of one life.

    Args:
        home: the store's folder.
        hands: the practice machine.
        person: its hands, who answer.
        sent: every answer so far; this life's are added.
        done: the jobs that are done, with what they came to; this life's are added.
    """

    def __init__(
        self,
        home: Path,
        hands: Hands,
        person: Person,
        sent: list[Sent],
        done: dict[str, Any],
    ) -> None:
        self._hands, self._person, self._sent, self._done = hands, person, sent, done
        self.job, self.error = "start", ""
        self.struck: str | None = None
        self.status: int | None = None
        self.is_gone = False
        self._owners: set[int] = set()
        self._before = len(sent)  # what earlier lives were sent is not acknowledged by this one
        self._child = subprocess.Popen(
            [sys.executable, "-m", "benchmarks.kills_life"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            env=os.environ | {"XDG_RUNTIME_DIR": str(locks_beside(home))},
        )
        machine = {"name": "workbench", **hands.hello["machine"], "address": hands.address}
        caliper = {"name": OPTIONS["instrument"], **hands.hello["instrument"]}
        self._put({"home": str(home), "machine": machine, "caliper": caliper, "done": done})

    def run(self, victim: str | None, after_s: float, job: str | None) -> None:
        """Answer until the program ends, or is killed so long after the job began, or any did."""
        timer = threading.Timer(after_s, self._strike, [victim])
        timer.daemon = True
        assert self._child.stdout is not None
        for line in self._child.stdout:
            self._acknowledge()
            told = json.loads(line)
            if ("ready" in told if job is None else told.get("job") == job) and victim is not None:
                timer.start()
            self._heed(told)
        timer.cancel()
        self.status = self._child.wait()
        for pipe in (self._child.stdin, self._child.stdout):
            if pipe is not None:
                with contextlib.suppress(OSError):
                    pipe.close()
        self.is_gone = self._wait_for_owners()

    def _strike(self, victim: str | None) -> None:
        owners = children(self._child.pid)
        self._owners |= set(owners)
        struck = {"program": [self._child.pid], "owner": owners}.get(
            str(victim), [self._child.pid, *owners]
        )
        if self._child.poll() is None and struck:
            self.struck = victim
            for pid in struck:
                with contextlib.suppress(ProcessLookupError):
                    os.kill(pid, signal.SIGKILL)

    def _heed(self, told: dict[str, Any]) -> None:
        if "job" in told:
            self.job = told["job"]
        elif "ended" in told:
            self._done[told["ended"]] = told["told"]
        elif "error" in told:
            self.error = told["error"]
        elif "ask" in told:
            self._answer(told)

    def _answer(self, told: dict[str, Any]) -> None:
        ask = Ask(**told["ask"])
        if told["how"] == "number":
            answer: Any = self._person.number(ask).raw
        else:
            answer = getattr(self._person, told["how"])(ask)
        self._owners |= set(children(self._child.pid))
        self._sent.append(Sent(ask.key, str(answer), told["how"] == "number"))
        self._put({"answer": answer})

    def _acknowledge(self) -> None:
        if len(self._sent) > self._before:
            self._sent[-1].acknowledged = True

    def _put(self, told: dict[str, Any]) -> None:
        assert self._child.stdin is not None
        with contextlib.suppress(BrokenPipeError):  # it was killed just now
            self._child.stdin.write(json.dumps(told) + "\n")
            self._child.stdin.flush()

    def _wait_for_owners(self) -> bool:
        end_s = time.monotonic() + GONE_WITHIN_S
        while any(is_running(pid) for pid in self._owners):
            if time.monotonic() > end_s:
                return False
            time.sleep(0.01)
        return True


def locks_beside(home: Path) -> Path:
    """A folder for the locks of this home alone: nobody else's programs meet those killed here."""
    folder = home.parent / "locks"
    folder.mkdir(mode=0o700, exist_ok=True)
    return folder


def children(pid: int) -> list[int]:
    """The processes that a process of ours started."""
    with contextlib.suppress(OSError):
        tasks = Path(f"/proc/{pid}/task").iterdir()
        return [int(each) for task in tasks for each in (task / "children").read_text().split()]
    return []


def is_running(pid: int) -> bool:
    """Whether a process is there, and not only its name."""
    with contextlib.suppress(OSError):
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    return False


class PipePerson:
    """The victim's person: every question goes out, every answer comes in, a line each."""

    def tell(self, text: str) -> None:
        """Nothing to do."""

    def confirm(self, ask: Ask) -> bool:
        """Ask and wait."""
        return bool(self._ask("confirm", ask))

    def number(self, ask: Ask) -> Typed:
        """Ask and wait."""
        return parse_typed(self._ask("number", ask), where=ask.key)

    def choose(self, ask: Ask) -> str:
        """Ask and wait."""
        return str(self._ask("choose", ask))

    def progress(self, what: str, done: float, remaining_s: float | None) -> None:
        """Nothing to do."""

    def _ask(self, how: str, ask: Ask) -> Any:
        put({"how": how, "ask": {**vars(ask), "details": dict(ask.details)}})
        return json.loads(sys.stdin.readline())["answer"]


def put(told: dict[str, Any]) -> None:
    """Say one thing to the other end."""
    sys.stdout.write(json.dumps(told) + "\n")
    sys.stdout.flush()


def main() -> int:
    """Run what is left of the evening; a fault is told, and its exit status given."""
    try:
        evening(json.loads(sys.stdin.readline()))
    except AsleftError as error:
        put({"error": f"{error.kind}: {error.message}"})
        return error.exit_status
    return 0


def evening(told: dict[str, Any]) -> None:
    """From as found to the record, without the jobs that are done."""
    machine, home = told["machine"], Path(told["home"])
    with Bench(home, PipePerson(), holder="a victim", machine=machine["name"]) as bench:
        put({"ready": True})
        bench.describe_machine(machine)
        bench.describe_instrument(told["caliper"])
        whole_evening(
            bench,
            OPTIONS,
            began=lambda name: put({"job": name}),
            ended=lambda name, what: put({"ended": name, "told": what}),
            done=told["done"],
        )
        put({"job": "record"})
        record = bench.record(close=True)
        put({"ended": "record", "told": {"calibration": record["calibration"]["id"]}})


if __name__ == "__main__":
    sys.exit(main())
