"""Writes a record to a file, by the file's ending: PDF for people, JSON for all, CSV of readings.

The file appears whole or not at all. Stands on `typeset`.
"""

from __future__ import annotations

import csv
import io
import json
import os
from contextlib import suppress
from pathlib import Path
from typing import Any

from asleft.errors import InputError
from asleft.record.typeset import to_pdf

COLUMNS = (
    "trial",
    "kind",
    "reading",
    "key",
    "take",
    "at",
    "what",
    "value",
    "unit",
    "raw",
    "used",
    "why_not",
    "person",
)


def write_record(document: dict[str, Any], path: Path | str) -> Path:
    """Write a record as `.pdf`, `.json` or `.csv` (the readings).

    Args:
        document: `asleft.record/1`.
        path: where to; an existing file is replaced only by a whole new one.

    Raises:
        InputError: another ending, or the file cannot be written.
    """
    path = Path(path)
    kinds = {".pdf": to_pdf, ".json": to_json_bytes, ".csv": readings_csv}
    make = kinds.get(path.suffix.lower())
    if make is None:
        raise InputError(
            f"a record cannot be written as {path.suffix or 'a file without an ending'}",
            hint="End the name in .pdf, .json or .csv.",
            where=str(path),
        )
    content = make(document)
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        beside.write_bytes(content)
        beside.replace(path)
    except OSError as error:
        with suppress(OSError):
            beside.unlink()
        raise InputError(
            f"the record cannot be written: {error.strerror}",
            hint="Choose another folder with --out.",
            where=str(path),
        ) from error
    return path


def to_json_bytes(document: dict[str, Any]) -> bytes:
    """The record as JSON, indented, UTF-8."""
    return (json.dumps(document, allow_nan=False, ensure_ascii=False, indent=1) + "\n").encode()


def readings_csv(document: dict[str, Any]) -> bytes:
    """All readings as CSV, one a row, used or not; `what` is the place as JSON."""
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(COLUMNS)
    for trial in document["trials"]:
        for each in trial["readings"]:
            rows.writerow(
                [
                    trial["id"],
                    trial["kind"],
                    each["id"],
                    each["key"],
                    each["take"],
                    each["at"],
                    json.dumps(each["place"], ensure_ascii=False),
                    repr(each["value"]),
                    each["unit"],
                    each["raw"],
                    "yes" if each["used"] else "no",
                    each["why_not"] or "",
                    each.get("person") or "",
                ]
            )
    return text.getvalue().encode()
