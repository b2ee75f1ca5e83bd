"""`asleft piece`: a gauge piece as solid, drawing and tool path, for a bed and an instrument.

Not for its shape or its path; those stand in `pieces`. Opens no store unless a machine is named.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal, TypeVar

import click

from asleft.cli.bed import Bed, bed_of, described
from asleft.cli.session import Session, shared_options
from asleft.cli.stream import refuse_without_path, stream_file, stream_options
from asleft.cli.typed import MM, Number, Sizes
from asleft.cli.wording import many, table, wrapped
from asleft.errors import InputError

if TYPE_CHECKING:
    from asleft.pieces import BeadPiece, FitPiece, PathSettings, SpanPiece

Command = TypeVar("Command", bound=Callable[..., Any])

_CELSIUS = Number("C", low=0.0, low_allowed=True, high=500.0)
_BED_MM = (220.0, 220.0, 220.0)  # where none is given; an ordinary bed
_NOZZLE_MM = 0.4  # where none is given; an ordinary one

_OPTIONS = (
    click.option("--out", metavar="DIR", required=True, help="The folder for the files."),
    click.option("--bed", type=Sizes("X,Y,Z", 3), help="Travel on a square bed, in mm."),
    click.option("--bed-round", type=Sizes("D,Z", 2), help="Diameter and height, in mm."),
    click.option("--nozzle", "nozzle_mm", type=MM, help="Bore of the nozzle; else 0.4 mm."),
    click.option("--layer", "layer_mm", type=MM,
                 help="Layer height; else 0.2 mm, or what suits the nozzle."),
    click.option("--nozzle-temp", "nozzle_c", type=_CELSIUS, help="Of this filament, in °C."),
    click.option("--bed-temp", "bed_c", type=_CELSIUS, help="In °C; 0 leaves the bed cold."),
    click.option("--filament-mm", type=MM, help="Diameter of the filament; else 1.75 mm."),
    click.option("--retract", "retract_mm", type=Number("MM", low_allowed=True, high=10.0),
                 help="How far filament is drawn back in travel; else 1 mm."),
    click.option("--relative-feed", is_flag=True, help="Feed told by differences (M83)."),
    click.option("--origin", type=click.Choice(["corner", "centre"]),
                 help="Where X 0 Y 0 lies; else corner, on a round bed centre."),
    click.option("--no-path", is_flag=True, help="No tool path, only solid and drawing."),
    click.option("--force", is_flag=True, help="Write over files of the same name."),
)  # fmt: skip


def path_options(command: Command) -> Command:
    """The options that every piece has."""
    command = stream_options(command)
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


_LINE_WIDTH = click.option(
    "--line-width", "line_width_mm", type=MM, help="Width of a bead; else 1.125 of the nozzle."
)


@click.group(name="piece")
def piece_command() -> None:
    """Write a gauge piece: drawing, solid, and a tool path for printing it."""


@piece_command.command("span")
@path_options
@_LINE_WIDTH
@click.option("--reach", "reach_mm", type=MM, help="The caliper's reach; else 150 mm.")
@click.option("--pitch", "pitch_mm", type=MM, help="Distance of the posts; else what fits.")
@click.option("--target-u", "target_u", type=Number("PERCENT", low_allowed=False, high=1.0),
              help="The least plastic that knows X and Y to this u, planned.")  # fmt: skip
@click.option("--mark", default="", help="Raised on the base: machine or date.")
@click.option("--column/--no-column", default=True, help="With the column for Z, or without.")
@shared_options
@click.pass_obj
def piece_span_command(session: Session, /, **given: Any) -> int:
    """The span piece: four posts and a stepped column, read with a caliper."""
    from asleft.pieces import SpanPiece, stiffened

    shape, travel_mm, nozzle_mm = bed_of(session, given)
    sizes = {**_line("span", given, nozzle_mm), "mark": given["mark"]}
    if given["pitch_mm"] is not None:
        sizes["pitch_mm"] = given["pitch_mm"]
    if given["pitch_mm"] is not None and travel_mm is None:
        if not given["column"]:
            sizes["column_heights_mm"] = ()
        piece = stiffened(SpanPiece(**sizes))
    else:
        piece = SpanPiece.for_machine(
            bed_shape=shape,
            travel_mm=travel_mm or _BED_MM,
            reach_mm=given["reach_mm"] or 150.0,
            column=given["column"],
            **sizes,
        )
    if given["target_u"] is not None:
        piece = _least(piece, given)
    return _write(session, piece, given, (shape, travel_mm, nozzle_mm))


def _least(largest: SpanPiece, given: dict[str, Any]) -> SpanPiece:
    """The piece of least plastic that reaches the wanted uncertainty of X and Y."""
    from asleft.measure import Instrument, Tolerance, plan_span
    from asleft.trials.choosing import least_span

    if given["pitch_mm"] is not None:
        raise InputError(
            "--target-u chooses the pitch", hint="Leave --pitch out.", where="--target-u"
        )
    wanted = given["target_u"] / 100
    caliper = Instrument("caliper", reach_mm=given["reach_mm"] or 150.0)
    tolerance = Tolerance(scale=4 * wanted, shear=1.0)
    found = least_span(
        largest, lambda places: plan_span(places, instrument=caliper, tolerance=tolerance)
    )
    if found is not None:
        return found
    reached = plan_span(largest.places(), instrument=caliper, tolerance=tolerance).expected
    best = max(e.u for e in reached if e.axis in ("X", "Y") and e.name == "printed_scale")
    raise InputError(
        f"no piece on this bed knows X and Y to {given['target_u']:g} %",
        hint=f"{100 * best * 1.005:.3f} % would do, or a longer bed and reach.",
        where="--target-u",
    )


@piece_command.command("bead")
@path_options
@click.option("--flats", "flats_mm", type=MM, help="Size over flats; else 48 mm.")
@shared_options
@click.pass_obj
def piece_bead_command(session: Session, /, **given: Any) -> int:
    """The bead piece: a ring one bead thick in three drawn widths."""
    from asleft.pieces import demand_on_bed, ring_for

    shape, travel_mm, nozzle_mm = bed_of(session, given)
    sizes = {k: given[k] for k in ("flats_mm", "layer_mm") if given[k] is not None}
    piece = ring_for(nozzle_mm or _NOZZLE_MM, **sizes)
    demand_on_bed(piece, shape, travel_mm or _BED_MM)
    return _write(session, piece, given, (shape, travel_mm, nozzle_mm))


@piece_command.command("fit")
@path_options
@_LINE_WIDTH
@click.option("--gauge", "gauge_mm", type=MM, required=True,
              help="Size of your shaft, or of the bore of your bearing.")  # fmt: skip
@click.option("--parts", type=click.Choice(["bores", "pins", "both"]), default="both",
              show_default=True, help="Bores for a shaft, pins for a bearing.")  # fmt: skip
@click.option("--step", "step_mm", type=MM, help="From size to size; else 0.05 mm.")
@shared_options
@click.pass_obj
def piece_fit_command(session: Session, /, **given: Any) -> int:
    """The fit piece: bores and pins in small steps around your own part."""
    from asleft.pieces import FitPiece

    shape, travel_mm, nozzle_mm = bed_of(session, given)
    sizes = _line("fit", given, nozzle_mm)
    sizes |= {"gauge_mm": given["gauge_mm"], "parts": given["parts"]}
    if given["step_mm"] is not None:
        sizes["step_mm"] = given["step_mm"]
    piece = FitPiece.for_machine(bed_shape=shape, travel_mm=travel_mm or _BED_MM, **sizes)
    return _write(session, piece, given, (shape, travel_mm, nozzle_mm))


def _line(
    kind: Literal["span", "fit"], given: dict[str, Any], nozzle_mm: float | None
) -> dict[str, Any]:
    """Line width, layer and walls: as given, else what suits the nozzle."""
    from asleft.pieces import line_sizes

    width, layer = given["line_width_mm"], given["layer_mm"]
    return line_sizes(kind, nozzle_mm or _NOZZLE_MM, line_width_mm=width, layer_mm=layer)


def _write(
    session: Session,
    piece: SpanPiece | BeadPiece | FitPiece,
    given: dict[str, Any],
    bed: Bed,
) -> int:
    from asleft.pieces import write_piece

    folder = Path(given["out"]).expanduser()
    settings, why = _settings(session, given, bed)
    refuse_without_path(session, given, why if settings is None else None)
    try:
        document = write_piece(piece, folder, path=settings, no_path=why, force=given["force"])
    except OSError as fault:
        raise InputError(
            f"the files cannot be written: {fault.strerror}",
            hint="Give another folder with --out.",
            where=str(folder),
        ) from fault
    if given["stream"]:
        document["streamed"] = stream_file(session, document["files"]["path"], given)
    session.emit(document, piece_lines)
    return 0


def _settings(
    session: Session,
    given: dict[str, Any],
    bed: Bed,
) -> tuple[PathSettings | None, str]:
    """How it is printed; None with the reason where it is not said. No temperature is guessed."""
    from asleft.pieces import PathSettings

    if given["no_path"]:
        return None, "--no-path was given"
    asked = {"--nozzle-temp": given["nozzle_c"], "--bed-temp": given["bed_c"]}
    missing = [option for option, value in asked.items() if value is None]
    if missing:
        return None, f"{' and '.join(missing)} not given: a temperature is yours to choose"
    shape, travel_mm, nozzle_mm = bed
    more = _bounds(session)
    for name in ("filament_mm", "retract_mm", "origin"):
        if given[name] is not None:
            more[name] = given[name]
    return PathSettings(
        nozzle_c=given["nozzle_c"],
        bed_c=given["bed_c"],
        nozzle_mm=nozzle_mm or _NOZZLE_MM,
        bed_shape=shape,
        travel_mm=travel_mm or _BED_MM,
        relative_feed=given["relative_feed"],
        **more,
    ), ""


def _bounds(session: Session) -> dict[str, Any]:
    """Limits and filament of the machine named, if one is."""
    if session.machine is None:
        return {}
    told = described(session)
    return {
        "filament_mm": told["filament_mm"],
        "max_nozzle_c": told["max_nozzle_c"],
        "max_bed_c": told["max_bed_c"],
        "feed_mm_min": told["max_feed_rate_mm_min"],
    }


def piece_lines(document: dict[str, Any]) -> list[str]:
    """`asleft.piece/1` for people."""
    lines = ["Written:", *table(sorted((k, str(v)) for k, v in document["files"].items())), ""]
    bounds = document["bounds_mm"]
    size = " × ".join(
        f"{high - low:.1f}" for low, high in zip(bounds["low"], bounds["high"], strict=True)
    )
    about = (
        f"About {document['grams']:.1f} g and {document['minutes']:.0f} min to print;"
        f" {size} mm on the bed; {many(len(document['readings']), 'reading')},"
        " numbered on the drawing."
    )
    lines += wrapped(about)
    if document["path"] is None:
        advice = (
            f"No tool path: {document['reason']}. In a slicing program print it slowly, in thin"
            " layers, unscaled, and note what your profile compensates."
        )
    elif "streamed" in document:
        advice = f"Printed over the line in {document['streamed']['minutes']:.0f} min."
    else:
        advice = (
            "The tool path is for the memory card. Hot parts burn and moving parts pinch: clear"
            " the bed, stay beside the machine; its last lines switch the heaters off."
        )
    lines += wrapped(advice)
    lines += wrapped("Let it lie off the bed for 30 minutes before you read it.")
    pitch_mm = document["parameters"].get("pitch_mm")
    if pitch_mm is not None:
        column = "" if document["parameters"]["column_heights_mm"] else " --no-column"
        lines += wrapped(f"Its trial: asleft trial span --pitch {pitch_mm:g}{column}")
    return lines
