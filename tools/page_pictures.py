"""Takes the pictures of the how-tos from the running page, at a desk and on a phone.

`python tools/page_pictures.py` leads two practice evenings in Chromium and puts the pictures into
docs/how-to/pictures, which is not kept in the repository. Judges nothing; needs playwright.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote

OUT = Path(__file__).resolve().parents[1] / "docs" / "how-to" / "pictures"
PRACTICE = "m/" + quote("practice cartesian 7", safe="")
CASE_MAKER = "m/case-maker"
DESK = {"viewport": {"width": 1280, "height": 800}, "color_scheme": "light"}
PHONE = {"viewport": {"width": 360, "height": 640}, "color_scheme": "dark", "has_touch": True}
FEED_ROWS = "marked_mm,remaining_mm,commanded_mm\n" + "120,23.7,100\n120,23.8,100\n" * 2


class Tour:
    """A page in two windows: the desk's, which acts, and the phone's, which looks."""

    def __init__(self, browser: Any, address: str, out: Path) -> None:
        self.address, self.out = address, out
        self.desk = browser.new_context(**DESK).new_page()
        self.phone = browser.new_context(**PHONE).new_page()

    def close(self) -> None:
        """Both windows, so that the server has nobody left to tell."""
        self.desk.context.close()
        self.phone.context.close()

    def go(self, path: str) -> None:
        """Look at a sheet at the desk."""
        self.desk.goto(self.address + path)

    def shoot(self, name: str) -> None:
        """The desk as it is now."""
        self.desk.screenshot(path=self.out / f"{name}.png", full_page=True)

    def shoot_phone(self, name: str, path: str) -> None:
        """A sheet as a phone shows it, no more than one screen."""
        self.phone.goto(self.address + path)
        self.phone.screenshot(path=self.out / f"{name}.png")

    def press(self, words: str) -> None:
        """Press a button by its words."""
        self.desk.get_by_role("button", name=words, exact=True).first.click()

    def step(self, ending: str) -> bool:
        """Whether the present step is this one."""
        form = self.desk.query_selector("form[data-step]")
        return form is not None and (form.get_attribute("data-step") or "").endswith(ending)

    def until(self, ending: str) -> None:
        """Answer every step as the practice hands would, until one ends so."""
        while True:
            self.desk.wait_for_selector("form[data-step]", timeout=60_000)
            if self.step(ending):
                return
            key = self.desk.get_attribute("form[data-step]", "data-step")
            if self.desk.query_selector("#value"):
                self.desk.fill("#value", self.desk.inner_text(".display"))
                self.desk.press("#value", "Enter")
            else:
                self.desk.click('form[data-step] button[value="yes"]')
            self.desk.wait_for_function(
                "key => document.querySelector('form[data-step]')?.dataset.step !== key", arg=key
            )


def practice_evening(tour: Tour) -> None:
    """From the workshop to what is taken away, with a span that is read place by place."""
    tour.go("")
    tour.shoot("workshop")
    tour.go(f"{PRACTICE}/before")
    tour.shoot("before")
    tour.press("Connect, read and keep as found")
    tour.desk.get_by_role("link", name="On to this evening").click()
    tour.shoot("evening")
    tour.press("Start this evening")
    tour.until("feed.1.mark")
    tour.shoot("mark")
    tour.until("feed.1.remaining")
    tour.shoot_phone("phone-reading", f"{PRACTICE}/now")
    tour.until("span.1.1")
    tour.shoot("place")
    tour.shoot_phone("phone-place", f"{PRACTICE}/now")
    tour.until("set.confirm")
    tour.shoot("set")
    tour.go(f"{PRACTICE}/finding")
    tour.shoot("finding")
    tour.shoot_phone("phone-finding", f"{PRACTICE}/finding")
    tour.go(f"{PRACTICE}/now")
    tour.until("proof.print")
    for sheet in ("change", "take", "history"):
        tour.go(f"{PRACTICE}/{sheet}")
        tour.shoot(sheet)
    tour.go(f"{PRACTICE}/evening?door=replaced")
    tour.shoot("replaced")
    tour.desk.get_by_label("a belt or pulley was replaced or tightened").check()
    tour.press("Note it, and see what it undoes")
    tour.shoot("replaced-belt")


def heating(tour: Tour) -> None:
    """A nozzle as it warms up; in own time, so that there is something to see."""
    tour.go(f"{PRACTICE}/before")
    tour.press("Connect, read and keep as found")
    tour.desk.get_by_role("link", name="On to this evening").click()
    tour.press("Start this evening")
    tour.until("feed.ready")
    tour.desk.click('form[data-step] button[value="yes"]')
    tour.desk.wait_for_selector("#warm-curve")
    tour.desk.wait_for_timeout(1500)
    tour.shoot("heating")
    tour.shoot_phone("phone-heating", f"{PRACTICE}/now")


def without_a_cable(tour: Tour) -> None:
    """A machine that is never connected: typed steps, typed rows, lines to enter."""
    tour.go("")
    tour.desk.fill("#f-name", "case-maker")
    tour.shoot("describe")
    tour.press("Keep this description")
    tour.desk.fill("#f-steps", "X=80, Y=80, Z=400, E=93")
    tour.shoot("typed-steps")
    tour.desk.locator("form[action$=pasted] button").click()
    tour.go(f"{CASE_MAKER}/evening")
    tour.desk.get_by_text("Readings already taken").click()
    tour.desk.select_option("#f-kind", "feed")
    tour.desk.locator("form[action$=pasted] #f-temperature_c").fill("205")
    tour.desk.fill("#f-readings", FEED_ROWS)
    tour.shoot("typed-readings")
    tour.press("Estimate from these")
    tour.go(f"{CASE_MAKER}/change")
    tour.press("Give me the lines to enter")
    tour.desk.wait_for_selector("form[data-step$=entered]")
    tour.shoot("lines")


@contextmanager
def served(*arguments: str) -> Iterator[str]:
    """A page of its own, in a home of its own; its address."""
    with tempfile.TemporaryDirectory() as home:
        command = [sys.executable, "-m", "asleft", "--home", home, *arguments]
        command += ["--page-port", "0", "--no-browser"]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
            assert process.stdout is not None  # noqa: S101 - it was asked for
            try:
                yield process.stdout.readline().strip()
            finally:
                process.terminate()


def main() -> int:
    """Take every picture; ends with 0 when all are there."""
    from playwright.sync_api import sync_playwright

    options = argparse.ArgumentParser(description="Take the pictures of the how-tos.")
    options.add_argument("--out", type=Path, default=OUT, help=f"folder, usually {OUT.name}")
    out = options.parse_args().out
    out.mkdir(parents=True, exist_ok=True)
    tours = (
        (practice_evening, ("practice", "--seed", "7", "--speed", "2000")),
        (heating, ("practice", "--seed", "7", "--speed", "15")),
        (without_a_cable, ("open",)),
    )
    with sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox", "--disable-gpu"]
        )
        for tour, arguments in tours:
            with served(*arguments) as address:
                taken = Tour(browser, address, out)
                tour(taken)
                taken.close()
        browser.close()
    print(f"{len(list(out.glob('*.png')))} pictures in {out}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
