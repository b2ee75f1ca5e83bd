"""`asleft piece`: the gauge piece as solid and drawing, for a bed and a caliper.

Not for its shape; that stands in `pieces`. Opens no store unless a machine is named.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from asleft.cli.session import Session, shared_options
from asleft.cli.typed import MM, Sizes
from asleft.cli.wording import plain, table, wrapped
from asleft.errors import InputError


@click.group(name="piece")
def piece_command() -> None:
    """Write the gauge piece and its drawing."""


@piece_command.command("span")
@click.option("--out", metavar="DIR", required=True, help="The folder for the files.")
@click.option("--bed", type=Sizes("X,Y,Z", 3), help="Travel on a square bed, in mm.")
@click.option("--bed-round", type=Sizes("D,Z", 2), help="Diameter and height, in mm.")
@click.option("--reach", "reach_mm", type=MM, help="The caliper's reach; else 150 mm.")
@click.option("--nozzle", "nozzle_mm", type=MM, help="Bore of the nozzle; else 0.4 mm.")
@click.option("--pitch", "pitch_mm", type=MM, help="Distance of the posts; else what fits.")
@click.option("--layer", "layer_mm", type=MM, help="Layer height; else 0.2 mm.")
@click.option("--column/--no-column", default=True, help="With the column for Z, or without.")
@click.option("--force", is_flag=True, help="Write over files of the same name.")
@shared_options
@click.pass_obj
def piece_span_command(session: Session, /, *, out: str, force: bool, **given: Any) -> int:
    """The span piece: four posts and a stepped column, read with a caliper."""
    from asleft.pieces import SpanPiece, write_span_piece

    shape, travel_mm, nozzle_mm = _bed(session, given)
    sizes: dict[str, Any] = {}
    if nozzle_mm is not None:
        # A bead a little wider than the bore (common practice, no source).
        sizes["line_width_mm"] = round(1.125 * nozzle_mm, 3)
    for name in ("pitch_mm", "layer_mm"):
        if given[name] is not None:
            sizes[name] = given[name]
    if given["pitch_mm"] is not None and travel_mm is None:
        if not given["column"]:
            sizes["column_heights_mm"] = ()
        piece = SpanPiece(**sizes)
    else:
        piece = SpanPiece.for_machine(
            bed_shape=shape,
            travel_mm=travel_mm or (220.0, 220.0, 220.0),
            reach_mm=given["reach_mm"] or 150.0,
            column=given["column"],
            **sizes,
        )
    folder = Path(out).expanduser()
    try:
        document = write_span_piece(piece, folder, force=force)
    except OSError as fault:
        raise InputError(
            f"the files cannot be written: {fault.strerror}",
            hint="Give another folder with --out.",
            where=str(folder),
        ) from fault
    session.emit(document, piece_lines)
    return 0


def _bed(
    session: Session, given: dict[str, Any]
) -> tuple[str, tuple[float, float, float] | None, float | None]:
    """Shape, travel and nozzle: as typed, else of the machine named, else not known (None)."""
    square, rounded, nozzle_mm = given["bed"], given["bed_round"], given["nozzle_mm"]
    if square and rounded:
        raise InputError(
            "a bed is square or round", hint="Give --bed or --bed-round.", where="--bed"
        )
    if square:
        return "square", square, nozzle_mm
    if rounded:
        return "round", (rounded[0], rounded[0], rounded[1]), nozzle_mm
    if session.machine is None:
        return "square", None, nozzle_mm
    with session.store() as store:
        row = store.machine(session.machine)
    if row is None:
        raise InputError(
            f"no machine is called {session.machine!r}",
            hint="`asleft machine list` shows those described.",
            where="--machine",
        )
    x, y, z = row.description["travel_mm"]
    return row.description["bed_shape"], (x, y, z), nozzle_mm or row.description["nozzle_mm"]


def piece_lines(document: dict[str, Any]) -> list[str]:
    """`asleft.piece/1` for people."""
    lines = ["Written:", *table(sorted((k, str(v)) for k, v in document["files"].items())), ""]
    bounds = document["bounds_mm"]
    size = " × ".join(
        plain(high - low) for low, high in zip(bounds["low"], bounds["high"], strict=True)
    )
    about = (
        f"About {document['grams']:.1f} g and {document['minutes']:.0f} min to print;"
        f" {size} mm on the bed; {len(document['readings'])} readings,"
        " numbered on the drawing."
    )
    lines += wrapped(about)
    advice = (
        "Print it slowly, unscaled, and note what your slicing profile compensates. Let it lie"
        " off the bed for 30 minutes before you read it."
    )
    return lines + wrapped(advice)
