"""The packed PDF against the one it was made of, by the eyes of other programs."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

from asleft.record import Store, assemble, to_pdf, typeset
from asleft.record.packing import packed


@pytest.fixture
def both(
    calibrated: tuple[Store, int], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> tuple[Path, Path]:
    """The PDF of a record as the typesetter made it, and packed."""
    document: dict[str, Any] = assemble(*calibrated, versions={})
    small, large = tmp_path / "packed.pdf", tmp_path / "plain.pdf"
    small.write_bytes(to_pdf(document))
    with monkeypatch.context() as patch:
        patch.setattr(typeset, "packed", lambda pdf: pdf)
        large.write_bytes(to_pdf(document))
    return large, small


def seen(command: list[str], file: Path, *rest: str) -> bytes:
    return subprocess.run([*command, str(file), *rest], capture_output=True, check=True).stdout


@pytest.mark.system("pdftotext", "pdfinfo", "pdftoppm")
def test_text_structure_and_looks_are_those_of_the_plain_one(both: tuple[Path, Path]) -> None:
    for command, rest in (
        (["pdftotext", "-layout"], ("-",)),
        (["pdfinfo", "-struct-text"], ()),  # what a screen reader is given
        (["pdftoppm", "-r", "40", "-gray"], ()),
    ):
        plain, small = (seen(command, file, *rest) for file in both)
        assert plain == small and len(small) > 1000
    assert b'"Uncertainty budget"' in seen(["pdfinfo", "-struct-text"], both[1])


def test_it_is_much_smaller_and_packed_once(both: tuple[Path, Path]) -> None:
    plain, small = (file.read_bytes() for file in both)
    assert len(small) < 0.6 * len(plain)
    assert packed(plain) == small
    assert packed(small) == small  # no table of places any more: left as it is


@pytest.mark.parametrize(
    "other", [b"", b"%PDF-1.7\n", b"%PDF-1.7\ntrailer\n<<>>\nstartxref\n9\n%%EOF"]
)
def test_what_has_another_form_is_left_alone(other: bytes) -> None:
    assert packed(other) == other


@pytest.mark.skipif(shutil.which("gs") is None, reason="a second reader, where there is one")
def test_a_second_reader_takes_it(both: tuple[Path, Path]) -> None:
    told = seen(
        ["gs", "-q", "-dNOPAUSE", "-dBATCH", "-dPDFSTOPONERROR", "-sDEVICE=nullpage"], both[1]
    )
    assert told == b""
