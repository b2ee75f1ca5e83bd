"""`asleft solve`: estimates from readings files, without machine and without store.

One command a trial: its options and its columns. What they share is in `solving`; nothing is
kept. Imports neither the store nor the line, so that it starts fast.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import click

from asleft.cli.session import Session
from asleft.cli.solving import (
    files_options,
    instrument_of,
    measure_options,
    solve_all,
    tolerance_of,
)
from asleft.cli.typed import ARMS, MM, SKEW, STEPS, Number, read_text
from asleft.errors import InputError

if TYPE_CHECKING:
    from asleft.measure import Solution, TraverseReading

DRIVES = ("cartesian", "crossed-belt", "delta")


@click.group(name="solve")
def solve_command() -> None:
    """Estimate from readings files; no machine is needed."""


@solve_command.command("feed")
@measure_options
@click.option("--axis", default="E", show_default=True, help="The extruder: E, or E0, E1, …")
@click.pass_obj
def solve_feed_command(
    session: Session, /, *, files: Sequence[str], axis: str, **given: Any
) -> int:
    """How much filament goes in when a length is commanded.

    Columns: marked_mm,remaining_mm,commanded_mm[,rate_mm_min]
    or fed_mm,commanded_mm[,rate_mm_min].
    """
    from asleft.measure import parse_feed_table, solve_feed
    from asleft.units import is_tool_axis

    axis = axis.upper()
    if not is_tool_axis(axis):
        raise InputError(f"{axis} is no extruder", hint="Write E, E0, E1, …", where="--axis")
    instrument, tolerance = instrument_of(session, given), tolerance_of(given)
    in_force = (given["steps"] or {}).get(axis)
    if given["steps"] and in_force is None:
        raise InputError(
            f"the steps of {axis} are not among those given",
            hint=f"A feed asks for the extruder's: --steps {axis}=VALUE.",
            where="--steps",
        )

    def one(text: str, name: str) -> Solution:
        return solve_feed(
            parse_feed_table(text, name=name),
            instrument=instrument,
            in_force=in_force,
            axis=axis,
            tolerance=tolerance,
        )

    return solve_all(session, files, one, given)


@solve_command.command("span")
@measure_options
@click.option("--skew", type=SKEW, help="Skew factors active while the piece was printed.")
@click.option("--drive", type=click.Choice(DRIVES), default="cartesian", show_default=True)
@click.option("--geometry", type=STEPS, help="Steps per mm that the drive has by design.")
@click.option("--arms", type=ARMS, help="Arm length and radius of a delta in force, in mm.")
@click.option(
    "--shrinkage-percent",
    type=Number("PERCENT", low=-20, high=20),
    help="How much smaller this plastic comes out: 0.3.",
)
@click.option(
    "--shrinkage-u",
    type=Number("PERCENT", low_allowed=True, high=20),
    help="Its standard uncertainty, in per cent.",
)
@click.option(
    "--shrinkage-to",
    type=click.Choice(("steps", "making")),
    default="steps",
    show_default=True,
    help="Who takes an unknown shrinkage.",
)
@click.option(
    "--warm",
    "piece_temperature_u_k",
    type=Number("K", low_allowed=True, high=100),
    help="Doubt of the piece's temperature in K; else 2.",
)
@click.option(
    "--traverse",
    metavar="FILE",
    help="Readings of a traverse with the same caliper: parts motion from shrinkage.",
)
@click.pass_obj
def solve_span_command(session: Session, /, *, files: Sequence[str], **given: Any) -> int:
    """Scale, growth and shear from a printed span piece.

    Columns: direction,faces,nominal_mm,reading_mm[,place].
    """
    from asleft.measure import parse_span_table, solve_span

    if (given["shrinkage_percent"] is None) != (given["shrinkage_u"] is None):
        raise InputError(
            "a stated shrinkage needs its uncertainty, and the other way round",
            hint="Give both, such as --shrinkage-percent 0.3 --shrinkage-u 0.1.",
            where="--shrinkage-u" if given["shrinkage_u"] is None else "--shrinkage-percent",
        )
    settings: dict[str, Any] = {
        "instrument": instrument_of(session, given),
        "in_force": given["steps"] or {},
        "skew": given["skew"],
        "tolerance": tolerance_of(given),
        "shrinkage_to": given["shrinkage_to"],
        "drive": given["drive"],
        "geometry": given["geometry"],
        "arms": given["arms"],
    }
    if given["shrinkage_percent"] is not None:
        # A part that comes out smaller has a negative h.
        settings["shrinkage"] = -given["shrinkage_percent"] / 100
        settings["shrinkage_u"] = given["shrinkage_u"] / 100
    if given["piece_temperature_u_k"] is not None:
        settings["piece_temperature_u_k"] = given["piece_temperature_u_k"]
    if given["traverse"] is not None:
        from asleft.measure import motion_as_read

        rows = _traverse_rows(given["traverse"])
        settings["motion"] = motion_as_read(rows, instrument=settings["instrument"])

    def one(text: str, name: str) -> Solution:
        return solve_span(parse_span_table(text, name=name), **settings)

    return solve_all(session, files, one, given)


def _traverse_rows(name: str) -> list[TraverseReading]:
    from asleft.measure import parse_traverse_table

    text, shown = read_text(name, what="readings file")
    return parse_traverse_table(text, name=shown)


@solve_command.command("traverse")
@measure_options
@click.option("--drive", type=click.Choice(DRIVES), default="cartesian", show_default=True)
@click.pass_obj
def solve_traverse_command(session: Session, /, *, files: Sequence[str], **given: Any) -> int:
    """Motion scale, reversal, repeatability and accuracy, without plastic.

    Columns: axis,target_mm,approach,reading_mm[,cycle], approach + or -.
    """
    from asleft.measure import parse_traverse_table, solve_traverse

    instrument, tolerance = instrument_of(session, given), tolerance_of(given)

    def one(text: str, name: str) -> Solution:
        return solve_traverse(
            parse_traverse_table(text, name=name),
            instrument=instrument,
            in_force=given["steps"] or {},
            drive=given["drive"],
            tolerance=tolerance,
        )

    return solve_all(session, files, one, given)


@solve_command.command("bead")
@measure_options
@click.option("--layer", "layer_mm", type=MM, help="Layer height; else 0.2 mm.")
@click.option(
    "--flow", type=Number("PERCENT", high=1000), help="Flow in the slicing profile, such as 100."
)
@click.option("--filament", "filament_mm", type=MM, help="Filament that the file feeds.")
@click.option(
    "--filament-diameter", "filament_diameter_mm", type=MM, help="As in the profile; else 1.75 mm."
)
@click.option("--density", "density_g_cm3", type=Number("G/CM3", high=20), help="Of the plastic.")
@click.option(
    "--density-u", "density_u_g_cm3", type=Number("G/CM3", high=5), help="Its u; else 0.02."
)
@click.option("--balance-u", "balance_u_g", type=Number("G", high=100), help="Else 0.01 g.")
@click.option("--measured-diameter", "measured_diameter_mm", type=MM, help="Of the filament.")
@click.option("--diameter-u", "diameter_u_mm", type=MM, help="Its u; else 0.01 mm.")
@click.pass_obj
def solve_bead_command(session: Session, /, *, files: Sequence[str], **given: Any) -> int:
    """Flow, from walls one bead thick and, if you like, from their mass.

    Columns: drawn_width_mm,reading_mm[,mass_g], the mass of the whole piece.
    """
    from asleft.measure import Extrusion, parse_bead_table, solve_bead

    known = Extrusion.__dataclass_fields__
    extrusion = Extrusion(**{k: v for k, v in given.items() if k in known and v is not None})
    instrument, tolerance = instrument_of(session, given), tolerance_of(given)

    def one(text: str, name: str) -> Solution:
        return solve_bead(
            parse_bead_table(text, name=name),
            instrument=instrument,
            extrusion=extrusion,
            in_force=None if given["flow"] is None else given["flow"] / 100,
            tolerance=tolerance,
        )

    return solve_all(session, files, one, given)


@solve_command.command("fit")
@files_options
@click.option(
    "--part", type=click.Choice(("hole", "shaft")), help="What was printed; else told by the tries."
)
@click.pass_obj
def solve_fit_command(session: Session, /, *, files: Sequence[str], **given: Any) -> int:
    """The clearance to draw, from tries with the real shaft or bearing.

    Columns: drawn_mm,gauge_mm,outcome: refuses, turns or loose.
    """
    from asleft.measure import parse_fit_table, solve_fit

    def one(text: str, name: str) -> Solution:
        return solve_fit(parse_fit_table(text, name=name), part=given["part"])

    return solve_all(session, files, one, given)
