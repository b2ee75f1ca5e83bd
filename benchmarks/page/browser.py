"""Chromium as the system has it; nothing is downloaded. Not for what is done in it."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any


@contextmanager
def chromium() -> Iterator[Any]:
    """A browser of its own, closed afterwards."""
    from playwright.sync_api import sync_playwright

    path = shutil.which("chromium")
    assert path is not None, "install chromium with your package manager"
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=path, args=["--no-sandbox", "--disable-gpu"])
        try:
            yield browser
        finally:
            browser.close()
