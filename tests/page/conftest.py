"""A page served by its own process, and a reader of it that follows plain forms, without script."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import urljoin

import httpx2
import pytest


class Form:
    """One form of a sheet: where it goes, its fields as they stand, its buttons."""

    def __init__(self, action: str, method: str) -> None:
        self.action, self.method = action, method
        self.fields: list[tuple[str, str]] = []
        self.buttons: list[tuple[str, str]] = []
        self.names: set[str] = set()


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.forms: list[Form] = []
        self.texts: list[str] = []
        self.shown: str | None = None
        self._open: Form | None = None
        self._select: str | None = None
        self._output = False
        self._skip = False

    def handle_starttag(self, tag, attrs):  # noqa: C901 - one case a tag
        given = dict(attrs)
        form = self._open
        if tag == "form":
            self._open = Form(given["action"], given.get("method", "get"))
            self.forms.append(self._open)
        elif tag in ("script", "style", "title"):
            self._skip = True
        elif tag == "output":
            self._output = True
        elif form is None:
            return
        elif tag == "input":
            form.names.add(given.get("name", ""))
            ticked = given.get("type") not in ("checkbox", "radio") or "checked" in given
            if given.get("name") and ticked:
                form.fields.append((given["name"], given.get("value") or ""))
        elif tag == "textarea":
            form.names.add(given["name"])
        elif tag == "select":
            self._select = given["name"]
        elif tag == "option" and self._select and "value" in given:
            if self._select not in dict(form.fields):
                form.fields.append((self._select, given["value"] or ""))
        elif tag == "button" and given.get("type") == "submit":
            form.buttons.append((given.get("name", ""), given.get("value", "")))

    def handle_endtag(self, tag):
        if tag == "form":
            self._open = None
        elif tag == "select":
            self._select = None
        elif tag == "output":
            self._output = False
        elif tag in ("script", "style", "title"):
            self._skip = False

    def handle_data(self, data):
        if self._output and data.strip():
            self.shown = data.strip()
        form = self._open
        if self._select and form and data.strip() and self._select not in dict(form.fields):
            form.fields.append((self._select, data.strip()))
        if data.strip() and not self._skip:
            self.texts.append(data.strip())


VISITORS: list[Visitor] = []


class Visitor:
    """A browser without script: looks at sheets, fills in forms, presses buttons."""

    def __init__(self, address: str, **more) -> None:
        self.address = address
        self.client = httpx2.Client(base_url=address, follow_redirects=True, timeout=30, **more)
        self.url = address
        self._read = _Reader()
        VISITORS.append(self)

    def get(self, path: str) -> Visitor:
        return self._take(self.client.get(path))

    def _take(self, reply) -> Visitor:
        self.status, self.html, self.url = reply.status_code, reply.text, str(reply.url)
        self._read = _Reader()
        self._read.feed(reply.text)
        return self

    @property
    def text(self) -> str:
        return " ".join(self._read.texts)

    @property
    def shown(self) -> str | None:
        return self._read.shown

    @property
    def token(self) -> str:
        return dict(self._read.forms[0].fields)["token"]

    def form(self, ending: str, *, named: str | None = None) -> Form:
        for form in self._read.forms:
            if form.action.endswith(ending) and (named is None or named in form.names):
                return form
        raise AssertionError(f"no form to {ending} on {self.url}: {self.text[:400]}")

    def has(self, ending: str) -> bool:
        return any(form.action.endswith(ending) for form in self._read.forms)

    def press(self, ending: str, button: tuple[str, str] | None = None, **typed) -> Visitor:
        """Fill in the form that goes to `ending` and press its button."""
        form = self.form(ending)
        fields = [(k, v) for k, v in form.fields if k not in typed]
        for name, value in typed.items():
            assert name in form.names or any(name == k for k, _ in form.fields), name
            fields += [(name, v) for v in (value if isinstance(value, list) else [value])]
        if button is not None:
            assert button in form.buttons, (button, form.buttons)
            fields.append(button)
        address = urljoin(self.url, form.action)
        body = str(httpx2.QueryParams(fields))
        kind = {"content-type": "application/x-www-form-urlencoded"}
        return self._take(self.client.post(address, content=body, headers=kind))

    def step(self) -> str | None:
        """The key of the present step, or None."""
        for form in self._read.forms:
            if form.action.endswith("/answer"):
                return dict(form.fields)["step"]
        return None


class Served:
    """A server process; `address` is the first line it printed."""

    def __init__(self, *arguments: str, home: Path) -> None:
        command = [sys.executable, "-m", "asleft", "--home", str(home), *arguments, "--no-browser"]
        self.errors = home.parent / "errors.txt"
        with self.errors.open("ab") as errors:
            self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=errors)
        assert self.process.stdout is not None
        self.address = self.process.stdout.readline().decode().strip()
        assert self.address.startswith("http://"), self.errors.read_text()
        wait_for(lambda: _answers(self.address))

    def kill(self) -> None:
        """As by a crash: no way out is run."""
        self.process.kill()
        self.process.wait(10)

    def end(self, number: int = signal.SIGTERM) -> int:
        """End it as a person would; its exit status."""
        if self.process.poll() is None:
            os.kill(self.process.pid, number)
        status = self.process.wait(25)
        if self.process.stdout is not None:
            self.process.stdout.close()
        return status


def _answers(address: str) -> bool:
    try:
        httpx2.get(address, timeout=5, follow_redirects=False)
    except httpx2.TransportError:
        return False
    return True


def wait_for(there, within_s: float = 20.0):
    """Wait until `there()` is true; its value."""
    end = time.monotonic() + within_s
    while time.monotonic() < end:
        value = there()
        if value:
            return value
        time.sleep(0.02)
    raise AssertionError("it did not come in time")


@pytest.fixture(autouse=True)
def _visitors_leave():
    yield
    while VISITORS:
        VISITORS.pop().client.close()


@pytest.fixture
def serve(tmp_path):
    """Start servers; all are ended afterwards."""
    running: list[Served] = []

    def start(*arguments: str, home: Path | None = None) -> Served:
        running.append(Served(*arguments, home=home or tmp_path / "home"))
        return running[-1]

    yield start
    for served in running:
        served.end()
