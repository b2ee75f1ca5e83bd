"""Writes the files of a piece and tells what they are: the JSON of `asleft.piece/1`.

Holds no shape and no rule of its own. A file that is there already stays unless told
otherwise, and no file is ever left half written. Stands on the other files of this room.
"""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

from asleft.errors import InputError, RefusedError
from asleft.pieces.check import stiffness
from asleft.pieces.cost import column_cost, span_cost
from asleft.pieces.drawing import drawing_svg
from asleft.pieces.mesh import Mesh
from asleft.pieces.solid import bodies
from asleft.pieces.span import SpanPiece
from asleft.pieces.stl import stl_bytes
from asleft.pieces.threemf import threemf_bytes

_FILES = {"drawing": "span-drawing.svg", "stl": "span.stl", "3mf": "span.3mf"}


def write_span_piece(piece: SpanPiece, out_dir: Path, *, force: bool = False) -> dict[str, Any]:
    """Write drawing, STL and 3MF of a span piece into a directory, made if need be.

    Args:
        piece: its parameters.
        out_dir: where to.
        force: whether files of these names that are there already may be replaced.

    Returns:
        The object of schema `asleft.piece/1`. `grams` and `minutes` are of all bodies;
        `cost` has them apart with their basis; `stiffness` is computed by a beam model.

    Raises:
        RefusedError: a file is there already; nothing was written.
        InputError: the directory cannot be written, or the mark does not fit.
    """
    paths = {kind: out_dir / name for kind, name in _FILES.items()}
    present = [path.name for path in paths.values() if path.exists()]
    if present and not force:
        raise RefusedError(
            f"{', '.join(present)} would be replaced",
            hint="Choose another directory, or say --force.",
            where=str(out_dir),
        )
    meshes = bodies(piece)
    title = f"span piece {piece.pitch_mm:g} mm {piece.mark}".strip()
    contents = {
        "drawing": drawing_svg(piece).encode(),
        "stl": stl_bytes(meshes, title),
        "3mf": threemf_bytes(meshes, title),
    }
    try:
        out_dir.mkdir(parents=True, exist_ok=True)
        for kind, path in paths.items():
            _write_whole(path, contents[kind])
    except OSError as error:
        raise InputError(
            f"the piece cannot be written: {error.strerror or error}",
            hint="Choose a directory that you may write to.",
            where=str(out_dir),
        ) from error
    return _told(piece, paths, meshes)


def _told(piece: SpanPiece, paths: dict[str, Path], meshes: tuple[Mesh, ...]) -> dict[str, Any]:
    """The JSON values of `asleft.piece/1`."""
    lows, highs = zip(*(mesh.bounds_mm for mesh in meshes), strict=True)
    span, column = span_cost(piece), column_cost(piece)
    return {
        "schema": "asleft.piece/1",
        "files": {kind: str(path) for kind, path in paths.items()},
        "parameters": piece.to_dict(),
        "readings": [asdict(place) for place in piece.places()],
        "grams": round(span.grams + column.grams, 1),
        "minutes": round(span.minutes + column.minutes),
        "cost": {
            "span": {"grams": round(span.grams, 1), "minutes": round(span.minutes)},
            "column": {"grams": round(column.grams, 1), "minutes": round(column.minutes)},
            "basis": span.basis,
        },
        "stiffness": asdict(stiffness(piece)),
        "bounds_mm": {
            "low": [min(values) for values in zip(*lows, strict=True)],
            "high": [max(values) for values in zip(*highs, strict=True)],
        },
    }


def _write_whole(path: Path, content: bytes) -> None:
    """All of a file or nothing: written beside it, then renamed."""
    beside = path.with_name(path.name + ".part")
    try:
        beside.write_bytes(content)
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)
