"""Every link leads somewhere, every page is reached from the index, every decision is listed.

Run as a program, this file writes the list of decisions anew.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
DECISIONS = ROOT / "docs" / "decisions"
PAGES = sorted([*ROOT.glob("*.md"), *(ROOT / "docs").rglob("*.md")])
LINK = re.compile(r"\[[^\]]*\]\(([^)\s]+)\)")
NOT_KEPT = re.compile(r"how-to/pictures/[\w-]+\.png$")  # made by tools/page_pictures.py


def anchors(text: str) -> set[str]:
    """The marks that headings give, as the common renderers of Markdown make them."""
    found = re.findall(r"^#+ (.+)$", text, flags=re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", title.lower()).replace(" ", "-") for title in found}


def links(path: Path) -> list[str]:
    """Targets of a page's links, without those in blocks of code."""
    text = re.sub(r"^```.*?^```", "", path.read_text(encoding="utf-8"), flags=re.M | re.S)
    return LINK.findall(text)


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_every_link_leads_somewhere(path):
    for link in links(path):
        if link.startswith("http"):
            continue
        name, _, anchor = link.partition("#")
        target = (path.parent / name).resolve() if name else path
        if NOT_KEPT.search(target.as_posix()):
            continue
        assert target.exists(), link
        if anchor:
            assert anchor in anchors(target.read_text(encoding="utf-8")), link


def test_every_page_is_reached_from_the_index():
    index = ROOT / "docs" / "README.md"
    reached = {(index.parent / link).resolve() for link in links(index)}
    pages = {path for path in PAGES if path.parent != ROOT and "decisions" not in path.parts}
    missing = {path.relative_to(ROOT).as_posix() for path in pages - reached - {index}}
    assert not missing


def decisions() -> list[str]:
    """The rows of the index: number and title of each decision, as its first line has them."""
    rows = []
    for path in sorted(DECISIONS.glob("[0-9]*.md")):
        title = re.fullmatch(
            r"# 0*(\d+)[.:] (.+)", path.read_text(encoding="utf-8").split("\n", 1)[0]
        )
        assert title and int(title[1]) == int(path.name[:4]), f"{path.name}: its first line"
        rows.append(f"| {title[1]} | [{title[2]}]({path.name}) |")
    return rows


def test_every_decision_is_listed_with_its_title():
    listed = re.findall(r"^\| \d+ .+$", (DECISIONS / "README.md").read_text("utf-8"), flags=re.M)
    assert listed == decisions(), f"python {Path(__file__).name} writes the list anew"
    numbers = [row.split()[1] for row in listed]
    assert len(numbers) == len(set(numbers)), "two decisions of one number"


if __name__ == "__main__":
    index = DECISIONS / "README.md"
    kept = re.sub(r"^\| \d+ .+\n", "", index.read_text(encoding="utf-8"), flags=re.M)
    index.write_text(kept + "\n".join(decisions()) + "\n", encoding="utf-8")
