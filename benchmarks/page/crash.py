"""Killed and put to sleep: what the open page and the trial behind it make of it.

At each step of a feed and a span the server gets kill -9 after the value was typed, and is started
again at the same address. Stands on `stage` and `browser`.
"""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path
from typing import Any

from benchmarks.page.browser import chromium
from benchmarks.page.stage import (
    SHEET,
    Figure,
    Served,
    Visitor,
    free_port,
    hands_do,
    keep_found,
    span_reading,
    wait_for,
)

from asleft.practice.hands import Hands

STEP = "form[data-step]"
ASLEEP_S = 30.0
_OF_ANOTHER = "(boot) => !document.body.dataset.version.startsWith(boot + '.')"


def killed(home: Path, few: bool) -> list[Figure]:
    """Kill at every step (few: at every sixth of a feed); what is typed stays and counts once."""
    kills, lost = 0, []
    figures = []
    with (
        Hands(7, "cartesian", 3000.0) as hands,
        chromium() as browser,
        Served(home / "home", "open", "--page-port", free_port()) as served,
    ):
        visitor = Visitor(served.address)
        keep_found(visitor, hands.address)
        page = browser.new_page()
        for kind in ("feed",) if few else ("feed", "span"):
            visitor.get().post(f"{SHEET}do/trial", kind=kind, temperature_c="205")
            typed, hit, gone = _through(page, served, hands, 6 if few else 1)
            kills, lost = kills + hit, lost + gone
            trial = visitor.get().client.get(f"{SHEET}record.json").json()["trials"][-1]
            kept = [(each["key"], each["raw"]) for each in trial["readings"]]
            same = trial["kind"] == kind and kept == typed
            told = f"{len(kept)} readings of {len(typed)} typed, each once and as typed: {same}"
            figures.append(Figure(f"{kind} killed on its way", told, "True", same))
        visitor.close()
    told = f"{len(lost)} lost of {kills} kills"
    return [Figure("typed value still in the field", told, "0", not lost), *figures]


def _through(page: Any, served: Served, hands: Hands, every: int) -> tuple[list, int, list[str]]:
    """One trial by the page: what was typed by key, how many kills, at which steps it was lost."""
    typed: list[tuple[str, str]] = []
    lost: list[str] = []
    kills, before, number = 0, None, 0
    page.goto(f"{served.address}{SHEET}now")
    while True:
        step = _next(page, before)
        if step is None:
            return typed, kills, lost
        value = _do(page, hands, step, number)
        if number % every == 0:
            boot = page.get_attribute("body", "data-version").split(".")[0]
            served.kill()
            if not kills:  # once is enough: it takes two seconds of silence
                page.wait_for_selector("#lost:visible", timeout=5000)
            served.start()
            page.wait_for_function(_OF_ANOTHER, arg=boot)
            page.wait_for_selector("#lost", state="hidden")
            kills += 1
            assert _next(page, None) == step
            if value is not None and page.input_value("#value") != value:
                lost.append(step)
        _press(page, step)
        if value is not None:
            typed.append((step.split(".", 3)[3], value))
        before, number = step, number + 1


def _do(page: Any, hands: Hands, step: str, number: int) -> str | None:
    """Do what the step asks and type what it takes; None where it takes a button."""
    if not page.query_selector("#value"):
        hands_do(hands, step)
        return None
    said = hands_do(hands, step)
    value = said.get("value", span_reading(step, number))
    page.fill("#value", value)
    return value


def _press(page: Any, step: str) -> None:
    """Enter; again where the page still asks the very same, as a person would."""
    page.focus("#value" if page.query_selector("#value") else "button[value=yes]")
    page.keyboard.press("Enter")
    page.wait_for_function(
        "(step) => document.querySelector('form[data-step]')?.dataset.step !== step", arg=step
    )


def _next(page: Any, before: str | None) -> str | None:
    """The next step; questions after a restart are agreed to. None when the trial is done."""
    while True:
        found = wait_for(lambda: _seen(page, before))
        if found == "done":
            return None
        if found == "stopped":
            page.focus(".choices form[action$=go-on] button")
            page.keyboard.press("Enter")
            wait_for(lambda: _seen(page, before) != "stopped")
        elif ".connect." in found:
            _press(page, found)
        else:
            return str(found)


def _seen(page: Any, before: str | None) -> str | None:
    shown = page.query_selector(STEP)
    if shown is not None:
        step = shown.get_attribute("data-step")
        return None if step == before else str(step)
    text = page.inner_text(".now")
    if "Go on where it stood" in text:
        return "stopped"
    return "done" if "See what was found" in text else None


def sleep(home: Path, few: bool) -> list[Figure]:
    """The server held for half a minute, as a laptop that sleeps, in the middle of heating."""
    with (
        Hands(7, "cartesian", 1.0) as hands,
        chromium() as browser,
        Served(home / "home", "open", "--page-port", "0") as served,
    ):
        visitor = Visitor(served.address)
        keep_found(visitor, hands.address)
        visitor.post(f"{SHEET}do/trial", kind="feed", temperature_c="205")
        step = wait_for(visitor.at_step)
        page = browser.new_page()
        page.goto(f"{served.address}{SHEET}now")
        visitor.answer(step, **hands_do(hands, step))
        wait_for(lambda: hands.ask("peek_heaters")["on"])
        time.sleep(1.0)
        os.kill(served.process.pid, signal.SIGSTOP)
        began_s = time.monotonic()
        page.wait_for_selector("#lost:visible", timeout=10000)
        said_s = time.monotonic() - began_s
        time.sleep((8.0 if few else ASLEEP_S) - said_s)
        hot = hands.ask("peek_heaters")["on"]
        os.kill(served.process.pid, signal.SIGCONT)
        began_s = time.monotonic()
        page.wait_for_selector("#lost", state="hidden", timeout=10000)
        back_s = time.monotonic() - began_s
        wait_for(lambda: "Heating" in page.inner_text(".now") or _seen(page, None))
        shown = page.inner_text(".now h1")
        visitor.close()
    heaters = "heating" if hot else "off"
    return [
        Figure("contact lost is said after", f"{said_s:.2f} s", "3 s", said_s <= 3.0),
        Figure("by itself again after", f"{back_s:.2f} s", "3 s", back_s <= 3.0),
        Figure("what it shows then", f"{shown!r}; meanwhile {heaters}", "where it stands", True),
    ]
