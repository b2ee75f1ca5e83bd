"""What a person takes away from an evening: the record as a file, and what to draw so that it fits.

Puts together what `record` and `measure` make of a bench's findings; computes nothing itself.
"""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from collections.abc import Mapping

    from asleft.bench.workshop import Bench


def record_bytes(document: Mapping[str, Any], form: Literal["pdf", "json", "csv"]) -> bytes:
    """A record as the content of a file.

    Args:
        document: `asleft.record/1`.
        form: the file's kind.
    """
    from asleft.record import write_record

    with tempfile.TemporaryDirectory(prefix="asleft-") as folder:
        path = Path(folder) / f"record.{form}"
        write_record(dict(document), path)
        return path.read_bytes()


def allowance(
    bench: Bench,
    kind: Literal["hole", "shaft", "length"],
    size_mm: float,
    clearance_mm: float | None,
) -> dict[str, Any]:
    """What to draw so that a part of this size fits, by what still stands; `asleft.allow/1`.

    Raises:
        InputError: a size or clearance that cannot be.
    """
    from asleft.measure import Making, allow

    results, adjusted = bench.findings()
    making = Making.from_results(results, adjusted=adjusted)
    found = allow(kind, size_mm, making=making, clearance_mm=clearance_mm)
    return {"schema": "asleft.allow/1", **found.to_dict()}
