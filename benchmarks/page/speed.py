"""How fast the page is: its first view, the way from a reading to its finding, and its idle load.

First contentful paint is what Chromium itself reports (W3C Paint Timing). Stands on `stage`.
"""

from __future__ import annotations

import os
import time
from pathlib import Path
from statistics import median
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

from asleft.bench import Bench
from asleft.page.house import Listener
from asleft.practice.hands import Hands

_KINDS = "['navigation', 'resource'].flatMap((kind) => performance.getEntriesByType(kind))"
# From the press of Enter until the frame after the one in which the figures stand on the sheet.
_WATCH = """() => {
  window.figuresShown = new Promise((done) => {
    addEventListener("keydown", (event) => {
      const began = event.timeStamp;
      const painted = () => requestAnimationFrame(() => requestAnimationFrame(
        () => done(performance.now() - began)));
      new MutationObserver((_, watch) => {
        if (document.querySelector(".now .number")) { watch.disconnect(); painted(); }
      }).observe(document.body, { childList: true, subtree: true });
    }, { once: true });
  });
}"""
LAST_OF_FEED = "feed.4.remaining"
YEARS = 50
_PAINT = "performance.getEntriesByName('first-contentful-paint').map((e) => e.startTime)[0]"


def first_view(home: Path, few: bool) -> list[Figure]:
    """Bytes, hosts and first contentful paint; cold is a fresh server and a fresh profile."""
    cold_s, warm_s, bytes_sent, hosts = [], [], 0, set()
    with chromium() as browser:
        _paint(browser, "data:text/html,<p>warm")  # the browser's own start is not the page's
        for turn in range(2 if few else 10):
            with Served(home / f"home{turn}", "open", "--page-port", "0") as served:
                for into in (cold_s, warm_s, warm_s):
                    paint_ms, bytes_sent, asked = _paint(browser, served.address)
                    into.append(paint_ms / 1000)
                    hosts |= {url for url in asked if not url.startswith((served.address, "data:"))}
    return [
        Figure(
            "bytes of the first view", f"{bytes_sent / 1024:.1f} KiB", "60", bytes_sent <= 61440
        ),
        Figure("requests to other hosts", f"{len(hosts)}", "0", not hosts),
        _painted("cold", cold_s),
        _painted("warm", warm_s),
    ]


def _painted(which: str, took_s: list[float]) -> Figure:
    """Judged by the middle one: the others tell of what else the computer does."""
    told = f"{spread(took_s)}, load {os.getloadavg()[0]:.1f}"
    return Figure(f"first paint, {which}", told, "median 400 ms", median(took_s) <= 0.4)


def _paint(browser: Any, address: str) -> tuple[float, int, list[str]]:
    context = browser.new_context()
    page = context.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(address, wait_until="load")
    page.wait_for_function(f"() => {_PAINT} !== undefined")  # text alone would need eval
    sizes = page.evaluate(f"{_KINDS}.map((entry) => entry.encodedBodySize)")
    paint_ms = page.evaluate(_PAINT)
    context.close()
    return paint_ms, sum(sizes), asked


def finding(home: Path, few: bool) -> list[Figure]:
    """From the last reading of a feed entered to its figures on the screen, over fresh servers.

    First in a new store, then in one with years of calibrations behind the machine.
    """
    figures: list[Figure] = []
    with Hands(7, "cartesian", 5000.0) as hands, chromium() as browser:
        for behind in (0,) if few else (0, YEARS):
            place = home / f"after{behind}"
            _past(place, behind)
            shown_s: list[float] = []
            sheet_s: list[float] = []
            for _ in range(1 if few else 5):
                with Served(place, "open", "--page-port", "0") as served:
                    visitor = Visitor(served.address)
                    keep_found(visitor, hands.address)
                    page = browser.new_page()
                    for _ in range(4 if few else 10 if behind else 20):
                        shown_s.append(_one_feed(visitor.get(), hands, page))
                        sheet_s.append(_finding_sheet(page, served.address))
                    page.close()
                    visitor.post(f"{SHEET}do/close")
                    visitor.close()
            after = f", {behind} calibrations before" if behind else ""
            for what, took_s in (
                ("last reading entered, figures shown", shown_s),
                ("finding sheet with its charts, opened", sheet_s),
            ):
                told = f"{spread(took_s)}, load {os.getloadavg()[0]:.1f}"
                figures.append(Figure(what + after, told, "p95 100 ms", p95(took_s) <= 0.1))
    return figures


def _past(home: Path, calibrations: int) -> None:
    """Years of a machine on paper: as many feeds, each in a closed calibration of its own."""
    rows = "marked_mm,remaining_mm,commanded_mm\n" + "120,23.7,100\n120,23.8,100\n" * 2
    with Bench(home, Listener(), holder="a benchmark", machine=NAME) as bench:
        bench.describe_machine({"name": NAME})
        for _ in range(calibrations):
            bench.found_from_steps({"X": 80.0, "Y": 80.0, "Z": 400.0, "E": 93.0})
            bench.trial("feed", {"readings": (rows, "paper"), "temperature_c": 205.0})
            bench.record(close=True, whole=False)


def _one_feed(visitor: Visitor, hands: Hands, page: Any) -> float:
    """A feed by plain forms, its last reading in the browser: seconds from Enter to the figures."""
    visitor.post(f"{SHEET}do/trial", kind="feed", temperature_c="205")
    page.goto(str(visitor.client.base_url) + f"{SHEET}now")
    while True:
        step = wait_for(lambda: visitor.now().step)
        said = hands_do(hands, step)
        if step.endswith(LAST_OF_FEED):
            page.wait_for_selector(f"form[data-step='{step}'] #value")
            page.fill("#value", said["value"])
            page.evaluate(_WATCH)
            page.keyboard.press("Enter")
            return float(page.evaluate("() => window.figuresShown")) / 1000
        visitor.answer(step, **said)


def _finding_sheet(page: Any, address: str) -> float:
    """Seconds until the sheet with every chart is laid out, as the browser itself tells."""
    page.goto(f"{address}{SHEET}finding", wait_until="load")
    assert page.query_selector(".finding .number")
    return float(page.evaluate("() => performance.now()")) / 1000


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
