"""Writes the files of a piece and tells what they are: the JSON of `asleft.piece/1`.

Holds no shape and no rule of its own. A file that is there already stays unless told
otherwise, and no file is ever left half written. Stands on the other files of this room.
"""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

from asleft.errors import InputError, RefusedError
from asleft.pieces.bead import BeadPiece
from asleft.pieces.check import stiffness
from asleft.pieces.cost import Cost, column_cost, span_cost
from asleft.pieces.drawing import drawing_svg
from asleft.pieces.fitting import FitPiece
from asleft.pieces.mesh import Mesh
from asleft.pieces.path import PathSettings, ToolPath, tool_path
from asleft.pieces.small_drawing import bead_drawing_svg, fit_drawing_svg
from asleft.pieces.solid import Piece, bodies
from asleft.pieces.span import SpanPiece
from asleft.pieces.stl import stl_bytes
from asleft.pieces.threemf import threemf_bytes

NO_PATH = "no tool path was asked for"


def write_piece(
    piece: Piece,
    out_dir: Path,
    *,
    path: PathSettings | None = None,
    no_path: str = NO_PATH,
    force: bool = False,
) -> dict[str, Any]:
    """Write drawing, STL, 3MF and, with settings for one, the tool path of a piece.

    Args:
        piece: its parameters.
        out_dir: where to; made if need be.
        path: how it is printed; None writes no tool path, for the reason `no_path`.
        force: whether files of these names that are there already may be replaced.

    Returns:
        The object of schema `asleft.piece/1`. `grams` and `minutes` are of all bodies, from the
        tool path where there is one, else estimated; `cost` says on which basis.

    Raises:
        RefusedError: a file is there already; nothing was written.
        InputError: the directory cannot be written, or the piece cannot be printed so.
    """
    kind = kind_of(piece)
    names = {"drawing": f"{kind}-drawing.svg", "stl": f"{kind}.stl", "3mf": f"{kind}.3mf"}
    if path is not None:
        names["path"] = f"{kind}.gcode"
    paths = {what: out_dir / name for what, name in names.items()}
    present = [file.name for file in paths.values() if file.exists()]
    if present and not force:
        raise RefusedError(
            f"{', '.join(present)} would be replaced",
            hint="Choose another folder, or say --force.",
            where=str(out_dir),
        )
    meshes = bodies(piece)
    planned = None if path is None else tool_path(piece, path)
    contents = {
        "drawing": _drawing(piece).encode(),
        "stl": stl_bytes(meshes, title_of(piece)),
        "3mf": threemf_bytes(meshes, title_of(piece)),
    }
    if planned is not None:
        contents["path"] = planned.text.encode()
    _write_all(paths, contents, out_dir)
    return _told(piece, paths, meshes, planned, no_path)


def kind_of(piece: Piece) -> str:
    """`span`, `bead` or `fit`."""
    kinds = {SpanPiece: "span", BeadPiece: "bead", FitPiece: "fit"}
    return kinds[type(piece)]


def title_of(piece: Piece) -> str:
    """What a program that opens the files shows."""
    if isinstance(piece, BeadPiece):
        return f"bead piece {piece.flats_mm:g} mm"
    if isinstance(piece, FitPiece):
        return f"fit piece for {piece.gauge_mm:g} mm"
    return f"span piece {piece.pitch_mm:g} mm {piece.mark}".strip()


def _drawing(piece: Piece) -> str:
    if isinstance(piece, BeadPiece):
        return bead_drawing_svg(piece)
    if isinstance(piece, FitPiece):
        return fit_drawing_svg(piece)
    return drawing_svg(piece)


def _write_all(paths: dict[str, Path], contents: dict[str, bytes], out_dir: Path) -> None:
    try:
        out_dir.mkdir(parents=True, exist_ok=True)
        for what, file in paths.items():
            _write_whole(file, contents[what])
    except OSError as error:
        raise InputError(
            f"the piece cannot be written: {error.strerror or error}",
            hint="Choose a folder that you may write to.",
            where=str(out_dir),
        ) from error


def _told(
    piece: Piece,
    paths: dict[str, Path],
    meshes: tuple[Mesh, ...],
    planned: ToolPath | None,
    no_path: str,
) -> dict[str, Any]:
    """The JSON values of `asleft.piece/1`."""
    lows, highs = zip(*(mesh.bounds_mm for mesh in meshes), strict=True)
    cost, parts = _cost(piece, meshes, planned)
    return {
        "schema": "asleft.piece/1",
        "files": {what: str(file) for what, file in paths.items()},
        "parameters": piece.to_dict(),
        "readings": [asdict(place) for place in piece.places()],
        "grams": round(cost.grams, 1),
        "minutes": round(cost.minutes),
        "cost": {**parts, "basis": cost.basis},
        "stiffness": asdict(stiffness(piece)) if isinstance(piece, SpanPiece) else None,
        "path": None if planned is None else _path_told(planned),
        "reason": no_path if planned is None else None,
        "bounds_mm": {
            "low": [min(values) for values in zip(*lows, strict=True)],
            "high": [max(values) for values in zip(*highs, strict=True)],
        },
    }


def _cost(
    piece: Piece, meshes: tuple[Mesh, ...], planned: ToolPath | None
) -> tuple[Cost, dict[str, Any]]:
    """Cost of all, and of a span piece's bodies apart where it is an estimate from volumes."""
    if planned is not None:
        return Cost(planned.grams, planned.minutes, planned.basis), {"span": None, "column": None}
    parts: dict[str, Any] = {}
    if isinstance(piece, SpanPiece):
        span, column = span_cost(piece), column_cost(piece)
        cost = Cost(span.grams + column.grams, span.minutes + column.minutes, span.basis)
        for name, part in (("span", span), ("column", column)):
            parts[name] = {"grams": round(part.grams, 1), "minutes": round(part.minutes)}
    else:
        cost = Cost.of_volume(sum(mesh.volume_mm3 for mesh in meshes))
    return cost, parts


def _path_told(planned: ToolPath) -> dict[str, Any]:
    """What a person may want to know of a tool path before printing it."""
    low, high = planned.bounds_mm
    return {
        "layers": planned.layers,
        "filament_mm": round(planned.filament_mm, 1),
        "peak_mm3_s": round(planned.peak_mm3_s, 2),
        "nozzle_bounds_mm": {"low": list(low), "high": list(high)},
    }


def _write_whole(path: Path, content: bytes) -> None:
    """All of a file or nothing: written beside it, then renamed."""
    beside = path.with_name(path.name + ".part")
    try:
        beside.write_bytes(content)
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)
