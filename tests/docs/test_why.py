"""The page about the cube: its figures are those of its script, of which a share is run again.

A share of the machines draws as the first of all of them do, so its figures lie as near the page's
as their number lets expect. That pictures and page are made of one run is the script's doing.
"""

from __future__ import annotations

import json
import math
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SHARE = 60
SIGMAS = 4.0


def block(page: str, name: str) -> str:
    """What stands between the marks of a figure."""
    found = re.search(rf"<!-- figures: {name} -->\n(.*?)\n<!-- end -->", page, flags=re.DOTALL)
    assert found, name
    return found[1]


def numbers(text: str) -> list[float]:
    """Every figure of a text, in order."""
    return [float(n) for n in re.findall(r"(?<![\w.])[+-]?\d+(?:\.\d+)?", text)]


@pytest.fixture(scope="module")
def again():
    """The script's figures, texts and one picture, of a share of the machines."""
    command = [sys.executable, str(ROOT / "tools" / "why_pictures.py"), "--json"]
    done = subprocess.run(
        [*command, "--machines", str(SHARE)], capture_output=True, text=True, timeout=50, check=True
    )
    return json.loads(done.stdout)


@pytest.fixture
def page(docs) -> str:
    return (docs / "explanation" / "why.md").read_text(encoding="utf-8")


def test_what_has_no_chance_in_it_stands_there_as_computed(again, page, docs):
    assert block(page, "fat") == again["texts"]["fat"]
    drawn = (docs / "explanation" / "why-lengths.svg").read_text(encoding="utf-8")
    assert drawn == again["lengths"]


def test_a_share_of_the_machines_agrees_with_the_page(again, page):
    many = again["figures"]["many"]
    rows = [numbers(line)[-4:] for line in block(page, "many").splitlines()[2:]]
    assert len(rows) == len(many["rms_cube"])
    axes = 2 * SHARE
    for told, cube, piece in zip(rows, many["rms_cube"], many["rms_piece"], strict=True):
        for percent, value in zip(told[:2], (cube, piece), strict=True):
            assert percent / 100 == pytest.approx(value, rel=SIGMAS / math.sqrt(2 * axes))
    for k, name in ((2, "within_cube"), (3, "within_piece")):
        for told, share in zip(rows, many[name], strict=True):
            doubt = SIGMAS * math.sqrt(max(share * (1 - share), 0.01) / axes)
            assert told[k] / 100 == pytest.approx(share, abs=doubt)


def test_noise_is_left_alone_by_the_piece_and_not_by_the_cube(again, page):
    right, told = again["figures"]["right"], numbers(block(page, "right"))
    for percent, value in zip(told, right["rms_cube"], strict=False):
        assert percent / 100 == pytest.approx(value, rel=SIGMAS / math.sqrt(4 * SHARE))
    assert right["changed_by_piece"] <= SHARE // 20


def test_pictures_are_small_and_told_in_words(page, docs):
    shown = re.findall(r"!\[([^\]]+)\]\((why-\w+\.svg)\)", page)
    assert {name for _, name in shown} == {
        path.name for path in (docs / "explanation").glob("*.svg")
    }
    for words, name in shown:
        assert len(words) > 40
        assert (docs / "explanation" / name).stat().st_size < 30 * 1024
