"""What a person takes away: a piece's files, the record as a file, what to draw so that it fits.

Puts together what `pieces`, `record` and `measure` make; computes nothing itself.
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


def piece_zip(
    details: Mapping[str, Any],
    machine: Mapping[str, Any],
    *,
    nozzle_c: float | None,
    bed_c: float | None,
) -> bytes:
    """The files of a piece to print: drawing, solids, and with temperatures its tool path.

    Args:
        details: `piece` and `parameters` of the step that asks for the print.
        machine: as described; the tool path is held against its bed and limits.
        nozzle_c: temperature of the nozzle in °C, or None for no tool path; nothing is guessed.
        bed_c: temperature of the bed in °C, or None for no tool path.

    Raises:
        InputError: the piece does not fit the bed, or a temperature is above the machine's limit.
    """
    import io
    import zipfile

    from asleft.pieces import BeadPiece, FitPiece, PathSettings, SpanPiece, write_piece

    kinds: dict[str, type[SpanPiece | BeadPiece | FitPiece]]
    kinds = {"span": SpanPiece, "bead": BeadPiece, "fit": FitPiece}
    piece = kinds[details["piece"]].from_dict(dict(details["parameters"]))
    path = None
    if nozzle_c is not None and bed_c is not None:
        limits = ("nozzle_mm", "filament_mm", "bed_shape", "max_nozzle_c", "max_bed_c")
        x, y, z = machine["travel_mm"]
        path = PathSettings(
            nozzle_c=nozzle_c,
            bed_c=bed_c,
            travel_mm=(x, y, z),
            **{name: machine[name] for name in limits},
        )
    whole = io.BytesIO()
    with tempfile.TemporaryDirectory(prefix="asleft-") as folder:
        write_piece(piece, Path(folder), path=path)
        with zipfile.ZipFile(whole, "w", zipfile.ZIP_DEFLATED) as packed:
            for file in sorted(Path(folder).iterdir()):
                packed.write(file, file.name)
    return whole.getvalue()
