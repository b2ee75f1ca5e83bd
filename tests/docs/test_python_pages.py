"""The pages of Python, run as a notebook is: block by block, each with what it printed below it."""

from __future__ import annotations

import contextlib
import io
import os
import re
from pathlib import Path

import pytest

from asleft import measure
from asleft.controller import Machine
from asleft.practice.hands import Hands

ADDRESS_SHOWN = "socket://127.0.0.1:40123"
EXPLANATIONS = sorted((Path(__file__).resolve().parents[2] / "docs" / "explanation").glob("*.md"))


def run(name: str, blocks, same, address: str = "") -> int:
    """Run every block and compare its output; how many there were."""
    names: dict[str, object] = {"__name__": "page"}
    blocks = [block for block in blocks if block.info in ("python", "output")]
    pairs = list(zip(blocks[::2], blocks[1::2], strict=True))
    for code, output in pairs:
        assert (code.info, output.info) == ("python", "output"), f"{name}:{code.line}"
        printed = io.StringIO()
        with contextlib.redirect_stdout(printed):
            source = code.text.replace(ADDRESS_SHOWN, address)
            exec(compile(source, f"{name}:{code.line}", "exec"), names)  # noqa: S102 - our page
        if os.environ.get("ASLEFT_SHOW_PAGES"):
            print(f"--- {name}:{output.line}\n{printed.getvalue()}")
        same(output.text, printed.getvalue(), f"{name}:{output.line}")
    return len(pairs)


@pytest.mark.parametrize("path", EXPLANATIONS, ids=lambda path: path.stem)
def test_an_explanation_computes_what_it_says(path, page, same):
    says = "Blocks of Python on this page are run by the tests" in path.read_text(encoding="utf-8")
    assert bool(run(path.name, page(f"explanation/{path.name}"), same)) == says


@pytest.fixture
def own_data_folder(tmp_path, monkeypatch):
    """What a program of the library's writes stays in the test's folder, where the system can."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.setenv("HOME", str(tmp_path))


def test_the_library_does_what_its_page_says(page, same, own_data_folder):
    with Hands(12, speed=600) as hands:
        assert run("library.md", page("library.md"), same, hands.address) > 5


def test_the_library_names_all_there_is(docs):
    told = set(re.findall(r"`(\w+)`", (docs / "library.md").read_text(encoding="utf-8")))
    public = {name for name in vars(Machine) if not name.startswith("_")}
    assert set(measure.__all__) | public <= told, (set(measure.__all__) | public) - told
