"""A whole practice evening in Chromium by keyboard alone, from the workshop to the record.

Only keys are sent: Tab, Enter and what is typed. Scripts look at the page and press nothing.
Stands on `browser`.
"""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

from benchmarks.page.browser import chromium
from benchmarks.page.stage import Figure, Served

_FOCUS = """() => {
  const at = document.activeElement, form = at.form;
  return [at.tagName + (at.id ? "#" + at.id : ""), (at.innerText || "").trim(),
          at.getAttribute("href") || (form && form.getAttribute("action")) || ""];
}"""
_CHANGED = """(old) => {
  const step = document.querySelector("form[data-step]");
  const over = /See what was found|Go on where/;
  return step ? step.dataset.step !== old : over.test(document.body.innerText);
}"""
TABS = 80  # more than any sheet has


def keyboard(home: Path, few: bool) -> list[Figure]:
    """The whole evening; the clock of the practice machine runs fast."""
    speed = "2000"
    with (
        Served(
            home / "home", "practice", "--seed", "7", "--speed", speed, "--page-port", "0"
        ) as it,
        chromium() as browser,
    ):
        page = browser.new_page(viewport={"width": 1280, "height": 800})
        began_s = time.monotonic()
        page.goto(it.address)
        _enter(page, "Parts come out wrong")
        _enter(page, "Connect, read and keep as found")
        _enter(page, "On to this evening")
        _enter(page, "Start this evening")
        steps = _answered(page)
        _enter(page, "See what was found")
        page.wait_for_selector("text=Span")
        _enter(page, "Take away")
        with page.expect_download() as got:
            _enter(page, "Record as PDF")
        whole = Path(got.value.path()).read_bytes().startswith(b"%PDF")
        took_s = time.monotonic() - began_s
    once = len(steps) == len(set(steps))
    told = f"{len(steps)} steps, each once: {once}, record a PDF: {whole}, {took_s:.0f} s"
    return [Figure("whole evening by keyboard alone", told, "to the record", once and whole)]


def _answered(page: Any) -> list[str]:
    """Answer step after step until the evening is done; their keys."""
    steps: list[str] = []
    page.wait_for_function(_CHANGED, arg="")
    while page.query_selector("form[data-step]"):
        step = page.get_attribute("form[data-step]", "data-step")
        steps.append(step)
        shown = page.query_selector(".display")
        if page.query_selector("#value"):
            _tab_to(page, lambda tag, _text, _to: tag == "INPUT#value")
            page.keyboard.type(shown.inner_text().replace(".", ","))
        else:
            word = shown.inner_text() if shown else ""
            _tab_to(
                page,
                lambda tag, text, to, word=word: (
                    tag == "BUTTON" and to.endswith("/answer") and text.startswith(word)
                ),
            )
        page.keyboard.press("Enter")
        page.wait_for_function(_CHANGED, arg=step)
    return steps


def _enter(page: Any, words: str) -> None:
    """Tab to what says these words, once it is there, and press Enter."""
    page.wait_for_selector(f"text={words}")
    _tab_to(page, lambda _tag, text, _to: text.startswith(words))
    page.keyboard.press("Enter")
    page.wait_for_load_state()


def _tab_to(page: Any, there: Any) -> None:
    """Press Tab until the focus is where it should be."""
    for _ in range(TABS):
        if there(*page.evaluate(_FOCUS)):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"not within {TABS} tabs of {page.url}: {page.inner_text('main')[:300]}")
