"""The record on paper: every figure of the sheet is in the PDF, and nothing is cut off."""

from __future__ import annotations

import copy
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from asleft.record import Store, assemble, to_pdf, write_record
from asleft.record.sheet import sheet

poppler = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="needs poppler-utils")


@pytest.fixture
def document(calibrated: tuple[Store, int]) -> dict[str, Any]:
    return assemble(*calibrated, versions={"asleft": "0.2.0"})


def texts(value: Any) -> Iterator[str]:
    """All text of a sheet, but that of charts and of what only steers the layout."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, list):
        for each in value:
            yield from texts(each)
    elif isinstance(value, dict):
        for key, each in value.items():
            if key not in ("kind", "align", "wide", "faint", "svg"):
                yield from texts(each)


def squeezed(text: str) -> str:
    """Without blanks, line ends and the hyphens that break words at them."""
    return re.sub(r"\s|\u2060", "", re.sub(r"[-\u2010\u00ad]\n", "-", text)).replace("-", "")


def printed(pdf: Path) -> str:
    done = subprocess.run(
        ["pdftotext", "-layout", pdf, "-"], capture_output=True, text=True, check=True
    )
    return done.stdout


def lost(document: dict[str, Any], folder: Path) -> list[str]:
    """Numbers with their units, and single words, of the sheet that are not in the PDF."""
    pdf = squeezed(printed(write_record(document, folder / "record.pdf")))
    parts = {part for text in texts(sheet(document)) for part in re.split(r"[ \n]+", text)}
    return sorted(part for part in parts if squeezed(part) not in pdf)


@poppler
@pytest.mark.system
def test_everything_is_on_paper(document: dict[str, Any], tmp_path: Path) -> None:
    assert lost(document, tmp_path) == []
    text = printed(tmp_path / "record.pdf")
    for figure in ("0.95003", "97.893", "−0.212", "0.023", "145.31 mm", "12.74", "7.9 %", "80.17"):
        assert figure in text.replace("\u00a0", " ")
    titles = [each["title"] for each in sheet(document)["sections"]]
    places = [re.search(rf"^\s*{title}$", text.replace("’", "'"), re.MULTILINE) for title in titles]
    starts = [place.start() for place in places if place is not None]
    assert len(starts) == len(titles) == 16
    assert starts == sorted(starts)
    pages = text.count("\f")
    for page in range(1, pages + 1):
        assert f"page {page} of {pages}" in text


@poppler
@pytest.mark.system
def test_long_words_and_many_readings_are_not_cut_off(
    document: dict[str, Any], tmp_path: Path
) -> None:
    long = copy.deepcopy(document)
    span = long["trials"][1]
    reading = span["readings"][0]
    span["readings"] = [{**reading, "id": n, "value": 100 + n / 100} for n in range(400)]
    span["budget"][0]["input"] = "the error of a very long name that hardly fits its column" * 2
    faces = long["proof"]["faces"]
    long["proof"]["faces"] = [{**faces[n % 7], "label": f"face {n}"} for n in range(100)]
    long["machine"]["name"] = "printer for the long-case clock behind the second bench, by the wall"
    long["proposals"][1]["reason"] = "A reason that goes on for many lines. " * 30
    long["as_found"]["raw"] = "\n".join(f"M999 P{n} " + "S1.000 " * 40 for n in range(80))
    assert lost(long, tmp_path) == []
    boxes = subprocess.run(
        ["pdftotext", "-bbox", tmp_path / "record.pdf", "-"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    right = [float(x) for x in re.findall(r'<word [^>]*xMax="([0-9.]+)"', boxes)]
    assert max(right) <= 595.3 - 56  # A4 is 595.3 points wide; the margin is 20 mm


def test_the_same_record_gives_the_same_bytes(document: dict[str, Any]) -> None:
    assert to_pdf(document) == to_pdf(copy.deepcopy(document))


def test_marks_of_the_typesetter_are_plain_text(document: dict[str, Any], tmp_path: Path) -> None:
    document["machine"]["name"] = '#panic("x") *b* $ [ \\ ] <l> @r'
    pdf = write_record(document, tmp_path / "record.pdf")
    assert pdf.read_bytes().startswith(b"%PDF-")
    if shutil.which("pdftotext"):
        assert '#panic("x") *b* $ [ \\ ] <l> @r' in printed(pdf)


def test_no_number_stands_without_its_unit(document: dict[str, Any]) -> None:
    """In every column of figures, each cell ends in a unit, unless it counts something."""
    bare = re.compile(r"[+−]?\d+(\.\d+)?")
    for section in sheet(document)["sections"]:
        for block in section["blocks"]:
            if block["kind"] != "table":
                continue
            titles = [each["title"] for each in block["columns"]]
            for row in block["rows"]:
                for title, cell in zip(titles, row, strict=True):
                    # "as typed" is what was typed, to the letter
                    if title not in ("no.", "as typed"):
                        assert not bare.fullmatch(cell), (section["title"], title, cell)


def test_an_old_document_without_newer_keys_still_prints(document: dict[str, Any]) -> None:
    for each in document["proposals"]:
        for key in ("provisional", "p_after", "withdrawn"):
            each.pop(key, None)
    for each in document["trials"]:
        each["instrument"] = {}
    assert to_pdf(document).startswith(b"%PDF-")
