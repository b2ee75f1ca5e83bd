"""Buttons pressed at once, and the stop: what reaches the machine, and when.

A relay between the program and the practice controller notes when bytes pass, on this computer's
own clock. Stands on `stage`.
"""

from __future__ import annotations

import re
import socket
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx2
from benchmarks.page.browser import chromium
from benchmarks.page.stage import (
    SHEET,
    Figure,
    Served,
    Visitor,
    hands_do,
    keep_found,
    span_reading,
    spread,
    wait_for,
)

from asleft.practice.hands import Hands

OFF = re.compile(rb"M104 S0|M108|M112|M410")


class Relay:
    """A cable that notes what goes to the machine, and when."""

    def __init__(self, address: str) -> None:
        host, port = address.removeprefix("socket://").split(":")
        self._far = (host, int(port))
        self._door = socket.create_server(("127.0.0.1", 0))
        self.address = f"socket://127.0.0.1:{self._door.getsockname()[1]}"
        self.passed: list[tuple[float, bytes]] = []
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        while True:
            try:
                near, _ = self._door.accept()
            except OSError:
                return
            far = socket.create_connection(self._far)
            for one, other, notes in ((near, far, True), (far, near, False)):
                near.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                far.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                threading.Thread(target=self._pass, args=(one, other, notes), daemon=True).start()

    def _pass(self, one: socket.socket, other: socket.socket, notes: bool) -> None:
        try:
            while data := one.recv(65536):
                if notes:
                    self.passed.append((time.monotonic(), data))
                other.sendall(data)
        except OSError:
            pass
        finally:
            one.close()
            other.close()

    def first_off(self, since_s: float) -> float | None:
        """When the first line that switches off or stops passed after a moment."""
        for at_s, data in list(self.passed):
            if at_s >= since_s and OFF.search(data):
                return at_s
        return None

    def close(self) -> None:
        """Take no further connection."""
        self._door.close()


def stop(home: Path, few: bool) -> list[Figure]:
    """Stop in a heat-wait with three tabs open: from the press to the wire."""
    took_s: list[float] = []
    with Hands(7, "cartesian", 10.0) as hands, chromium() as browser:
        relay = Relay(hands.address)
        with Served(home / "home", "open", "--page-port", "0") as served:
            visitor = Visitor(served.address)
            keep_found(visitor, relay.address)
            for _ in range(3):
                browser.new_page().goto(f"{served.address}{SHEET}now")
            visitor.post(f"{SHEET}do/trial", kind="feed", temperature_c="205")
            for _ in range(3 if few else 20):
                _until_heating(visitor, hands)
                began_s = time.monotonic()
                visitor.post(f"{SHEET}stop")
                off_s = wait_for(lambda since_s=began_s: relay.first_off(since_s))
                took_s.append(off_s - began_s)
                wait_for(lambda: not hands.ask("peek_heaters")["on"])
                wait_for(lambda: "Go on where it stood" in visitor.now().html)
                visitor.post(f"{SHEET}do/go-on")
            visitor.post(f"{SHEET}stop")
            visitor.close()
        relay.close()
    what = "stop pressed (form sent), on the wire"
    return [Figure(what, spread(took_s), "max 100 ms", max(took_s) <= 0.1)]


def _until_heating(visitor: Visitor, hands: Hands) -> None:
    def heating() -> bool:
        step = visitor.now().step
        if step:
            visitor.answer(step, **hands_do(hands, step))
        return "eating" in visitor.html and hands.ask("peek_heaters")["on"]

    wait_for(heating)


def at_once(home: Path, few: bool) -> list[Figure]:
    """Two tabs and a phone press the same button in the same moment, again and again."""
    wanted, taken, pressed = 12 if few else 200, [], 0
    kept: list[list[str]] = []
    with (
        Hands(7, "cartesian", 5000.0) as hands,
        Served(home / "home", "open", "--page-port", "0") as served,
    ):
        visitor = Visitor(served.address)
        keep_found(visitor, hands.address)
        clients = [httpx2.Client(base_url=served.address, timeout=60) for _ in range(3)]
        with ThreadPoolExecutor(3) as pool:
            while pressed < wanted:
                visitor.get().post(f"{SHEET}do/trial", kind="span")
                while pressed < wanted and (step := _step_or_done(visitor)):
                    said = {"answer": "yes", "value": span_reading(step, pressed)}
                    body = {"token": visitor.token, "step": step, **said}
                    meet = threading.Barrier(3)
                    jobs = [pool.submit(_press, each, body, meet) for each in clients]
                    taken.append(sum("stale" not in job.result() for job in jobs))
                    pressed += 1
        document = visitor.client.get(f"{SHEET}record.json").json()
        for trial in document["trials"]:
            kept.append([each["key"] for each in trial["readings"]])
        for client in (*clients, visitor):
            client.close()
    once = sum(count == 1 for count in taken)
    doubled = sum(len(keys) - len(set(keys)) for keys in kept)
    return [
        Figure(
            "pressed three times at once, taken once",
            f"{once} of {pressed}",
            "all",
            once == pressed,
        ),
        Figure("readings doubled", f"{doubled} of {sum(map(len, kept))}", "0", not doubled),
    ]


def _step_or_done(visitor: Visitor) -> str | None:
    wait_for(lambda: visitor.now().step or "See what was found" in visitor.html)
    return visitor.step


def _press(client: httpx2.Client, body: dict[str, str], meet: threading.Barrier) -> str:
    meet.wait(10)
    return str(client.post(f"{SHEET}answer", data=body).headers["location"])
