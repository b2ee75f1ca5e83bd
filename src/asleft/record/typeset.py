"""The record as PDF: the sheet laid out by the template, fonts from the binding alone.

Same document, same bytes: no system font, no clock, no file of the machine takes part.
Lays out and computes nothing; `sheet` has made every figure.
"""

from __future__ import annotations

from datetime import UTC, datetime
from importlib.resources import files
from typing import Any

from asleft.errors import BugError
from asleft.record.engine import to_json
from asleft.record.packing import packed
from asleft.record.sheet import sheet


def to_pdf(document: dict[str, Any]) -> bytes:
    """A record as PDF.

    Args:
        document: `asleft.record/1`.

    Raises:
        BugError: the template could not be laid out.
    """
    import typst

    template = files("asleft.record") / "templates" / "record.typ"
    shown = sheet(document)
    try:
        result = typst.compile(
            template.read_bytes(),
            sys_inputs={"sheet": to_json(shown)},
            ignore_system_fonts=True,
            format="pdf",
            timestamp=int(datetime.fromisoformat(shown["date"]).replace(tzinfo=UTC).timestamp()),
        )
    except typst.TypstError as error:
        raise BugError(
            f"the record could not be laid out: {error}", hint="Write it as .json.", where="record"
        ) from error
    return packed(bytes(result))
