"""How fast the page is: its first view, the way from a reading to its finding, and its idle load.

First contentful paint is what Chromium itself reports (W3C Paint Timing). Stands on `stage`.
"""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

import psutil
from benchmarks.page.browser import chromium
from benchmarks.page.stage import (
    NAME,
    SHEET,
    Figure,
    Served,
    Visitor,
    hands_do,
    keep_found,
    p95,
    spread,
    wait_for,
)

from asleft.practice.hands import Hands

_KINDS = "['navigation', 'resource'].flatMap((kind) => performance.getEntriesByType(kind))"
_PAINT = "performance.getEntriesByName('first-contentful-paint').map((e) => e.startTime)[0]"


def first_view(home: Path, few: bool) -> list[Figure]:
    """Bytes, hosts and first contentful paint; cold is a fresh server and a fresh profile."""
    cold_ms, warm_ms, bytes_sent, hosts = [], [], 0, set()
    with chromium() as browser:
        _paint(browser, "data:text/html,<p>warm")  # the browser's own start is not the page's
        for turn in range(2 if few else 10):
            with Served(home / f"home{turn}", "open", "--page-port", "0") as served:
                for into in (cold_ms, warm_ms, warm_ms):
                    paint_ms, bytes_sent, asked = _paint(browser, served.address)
                    into.append(paint_ms / 1000)
                    hosts |= {url for url in asked if not url.startswith((served.address, "data:"))}
    return [
        Figure(
            "bytes of the first view", f"{bytes_sent / 1024:.1f} KiB", "60", bytes_sent <= 61440
        ),
        Figure("requests to other hosts", f"{len(hosts)}", "0", not hosts),
        Figure("first paint, cold", spread(cold_ms), "max 400 ms", max(cold_ms) <= 0.4),
        Figure("first paint, warm", spread(warm_ms), "max 400 ms", max(warm_ms) <= 0.4),
    ]


def _paint(browser: Any, address: str) -> tuple[float, int, list[str]]:
    context = browser.new_context()
    page = context.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(address, wait_until="load")
    page.wait_for_function(f"{_PAINT} !== undefined")
    sizes = page.evaluate(f"{_KINDS}.map((entry) => entry.encodedBodySize)")
    paint_ms = page.evaluate(_PAINT)
    context.close()
    return paint_ms, sum(sizes), asked


def finding(home: Path, few: bool) -> list[Figure]:
    """From the last reading of a feed entered to its finding shown, over fresh servers."""
    done_s: list[float] = []
    sheet_s: list[float] = []
    with Hands(7, "cartesian", 5000.0) as hands:
        for turn in range(1 if few else 10):
            with Served(home / "home", "open", "--page-port", "0") as served:
                visitor = Visitor(served.address)
                if not turn:
                    keep_found(visitor, hands.address)
                for _ in range(4 if few else 10):
                    one, two = _one_feed(visitor.get(), hands)
                    done_s.append(one)
                    sheet_s.append(two)
                visitor.close()
    both_s = [one + two for one, two in zip(done_s, sheet_s, strict=True)]
    aim = "p95 100 ms"
    return [
        Figure("last reading entered, trial done", spread(done_s), aim, p95(done_s) <= 0.1),
        Figure("finding sheet", spread(sheet_s), aim, p95(sheet_s) <= 0.1),
        Figure("reading entered, finding shown", spread(both_s), aim, p95(both_s) <= 0.1),
    ]


def _one_feed(visitor: Visitor, hands: Hands) -> tuple[float, float]:
    """A feed from its start to its finding; seconds from the last reading on, and of the sheet."""
    visitor.post(f"{SHEET}do/trial", kind="feed", temperature_c="205")
    while True:
        step = wait_for(lambda: visitor.now().step or "See what was found" in visitor.html)
        assert isinstance(step, str), visitor.html
        said = hands_do(hands, step)
        began_s = time.perf_counter()
        visitor.answer(step, **said)
        if "See what was found" in visitor.html:
            done_s = time.perf_counter()
            visitor.get(f"{SHEET}finding")
            assert "Feed" in visitor.html
            return done_s - began_s, time.perf_counter() - done_s


def idle(home: Path, few: bool) -> list[Figure]:
    """Processor time of the server while one page is open and nothing is done."""
    with Hands(7) as hands, Served(home / "home", "open", "--page-port", "0") as served:
        visitor = Visitor(served.address)
        keep_found(visitor, hands.address)
        with chromium() as browser:
            page = browser.new_page()
            page.goto(f"{served.address}m/{NAME}/now")
            time.sleep(3)
            watched = [psutil.Process(served.process.pid)]
            watched += watched[0].children(recursive=True)
            before_s = sum(_own_s(process) for process in watched)
            began_s = time.monotonic()
            time.sleep(5 if few else 60)
            share = (sum(_own_s(each) for each in watched) - before_s) / (
                time.monotonic() - began_s
            )
        visitor.close()
    told = f"{share:.2%} of one core, line held"
    return [Figure("idle with one page open", told, "1 %", share <= 0.01)]


def _own_s(process: psutil.Process) -> float:
    times = process.cpu_times()
    return float(times.user + times.system)
