"""`asleft trial`: run a trial at the machine with prompts, or take readings from a file.

One command a trial: its options. What they share is in `trying`; what a trial consists of stands
in `trials` and is run by `bench`.
"""

from __future__ import annotations

from typing import Any

import click

from asleft.cli.session import Session
from asleft.cli.trying import run_trial, trial_options
from asleft.cli.typed import MM, Number
from asleft.errors import InputError
from asleft.units import parse_typed


@click.group(name="trial")
def trial_command() -> None:
    """Run a trial at the machine, step by step.

    Type `back` at a question to take the reading before it back and enter it again.

    The nozzle burns and moving parts pinch. Stay with a heated machine, follow its manual,
    and leave mains wiring to a licensed electrician.
    """


@trial_command.command("feed")
@trial_options
@click.option("--marked", "marked_mm", type=MM, help="Length marked above the entry; else 120.")
@click.option("--length", "length_mm", type=MM, help="Length commanded; else 100.")
@click.option("--repeats", type=click.IntRange(1, 100), help="How often; else 4.")
@click.option(
    "--temperature", "temperature_c", type=Number("C", high=500), help="Of the nozzle, in °C."
)
@click.option("--rate", "rate_mm_min", type=Number("MM/MIN"), help="Feed rate; else slow.")
@click.option("--rates", metavar="LIST", help="Rising rates, such as 50,100,200: where it slips.")
@click.option("--tool", type=click.IntRange(0, 9), help="Which extruder, from 0.")
@click.option("--detached", is_flag=True, help="Cold, with the tube detached.")
@click.pass_obj
def trial_feed_command(session: Session, /, **given: Any) -> int:
    """Mark filament, feed it slowly, measure what remains.

    Without a terminal the remaining lengths come from standard input, one a line, with --yes.
    """
    rates = given.pop("rates")
    if rates is not None:
        given["rates_mm_min"] = tuple(
            parse_typed(text, where="--rates", lengths=False).value for text in rates.split(",")
        )
    if given["tool"] is not None:
        given["axis"] = f"E{given['tool']}"
    return run_trial(session, "feed", given)


@trial_command.command("traverse")
@trial_options
@click.option("--along", type=click.Choice(("X", "Y", "Z")), help="The axis; else X.")
@click.option("--start", "start_mm", type=MM, help="First target; else 40, or what fits.")
@click.option("--span", "span_mm", type=MM, help="First to last target; else 100, or what fits.")
@click.option("--targets", type=click.IntRange(2, 50), help="How many places; else 5.")
@click.option("--cycles", type=click.IntRange(1, 20), help="How often up and down; else 3.")
@click.pass_obj
def trial_traverse_command(session: Session, /, **given: Any) -> int:
    """Move one axis to targets from both sides and read it; no plastic, no heat.

    Without a terminal the readings come from standard input, one a line, with --yes.
    """
    return run_trial(session, "traverse", given)


@trial_command.command("span")
@trial_options
@click.option("--more", is_flag=True, help="Read the last piece again where more was asked for.")
@click.option("--rounds", type=click.IntRange(1, 20), help="Readings at each place; else 1.")
@click.option("--pitch", "pitch_mm", type=MM, help="Distance of the posts; else 95.")
@click.option("--column/--no-column", default=True, help="With the column for Z, or without.")
@click.option(
    "--shrinkage-percent",
    type=Number("PERCENT", low=-20, high=20),
    help="How much smaller this plastic comes out: 0.3.",
)
@click.option("--shrinkage-u", type=Number("PERCENT", low_allowed=True, high=20), help="Its u.")
@click.option("--shrinkage-to", type=click.Choice(("steps", "making")), help="Who takes it.")
@click.option("--making", metavar="NAME", help="How the piece is made.")
@click.pass_obj
def trial_span_command(
    session: Session,
    /,
    *,
    pitch_mm: float | None,
    column: bool,
    shrinkage_percent: float | None,
    shrinkage_u: float | None,
    **given: Any,
) -> int:
    """Print the span piece, let it cool, read it place by place.

    Without a terminal the readings come from standard input, one a line, with --yes.
    """
    from asleft.pieces import SpanPiece, stiffened

    given["column"] = column
    if (shrinkage_percent is None) != (shrinkage_u is None):
        raise InputError(
            "a stated shrinkage needs its uncertainty, and the other way round",
            hint="Give both, such as --shrinkage-percent 0.3 --shrinkage-u 0.1.",
            where="--shrinkage-u" if shrinkage_u is None else "--shrinkage-percent",
        )
    if shrinkage_percent is not None and shrinkage_u is not None:
        given |= {"shrinkage": -shrinkage_percent / 100, "shrinkage_u": shrinkage_u / 100}
    if pitch_mm is not None or not column:
        sizes: dict[str, Any] = {} if column else {"column_heights_mm": ()}
        pitch_mm = SpanPiece.pitch_mm if pitch_mm is None else pitch_mm
        given["piece"] = stiffened(SpanPiece(pitch_mm=pitch_mm, **sizes))
    return run_trial(session, "span", given)


@trial_command.command("bead")
@trial_options
@click.option("--rounds", type=click.IntRange(1, 20), help="Readings at each place; else 1.")
@click.option("--nozzle", "nozzle_mm", type=MM, help="Bore of the nozzle; else the machine's.")
@click.option("--flats", "flats_mm", type=MM, help="With --nozzle: over flats; else 48 mm.")
@click.option("--layer", "layer_mm", type=MM, help="With --nozzle: layer; else 0.2 mm.")
@click.option(
    "--flow",
    "flow_percent",
    type=Number("PERCENT", high=1000),
    help="Of whatever wrote the file; else 100, as ours has.",
)
@click.option(
    "--density",
    "density_g_cm3",
    type=Number("G/CM3", high=20),
    help="Of the plastic: the ring is weighed too.",
)
@click.option(
    "--density-u", "density_u_g_cm3", type=Number("G/CM3", high=5), help="Its u; else 0.02."
)
@click.option("--balance-u", "balance_u_g", type=Number("G", high=100), help="Else 0.01 g.")
@click.option(
    "--filament-mm", "filament_diameter_mm", type=MM, help="In the file; else the machine's."
)
@click.option("--measured-diameter", "measured_diameter_mm", type=MM, help="Of the filament.")
@click.option("--diameter-u", "diameter_u_mm", type=MM, help="Its u; else 0.01 mm.")
@click.option("--making", metavar="NAME", help="How the piece is made.")
@click.pass_obj
def trial_bead_command(
    session: Session,
    /,
    *,
    nozzle_mm: float | None,
    flats_mm: float | None,
    layer_mm: float | None,
    flow_percent: float | None,
    **given: Any,
) -> int:
    """Print the ring one bead thick, read its wall in three drawn widths: flow.

    Feed comes first: a wrong extruder looks like a wrong flow. Without a
    terminal the answers come from standard input, one a line, with --yes.
    """
    from asleft.pieces import BeadPiece

    sizes = {"flats_mm": flats_mm, "layer_mm": layer_mm}
    sizes = {name: size for name, size in sizes.items() if size is not None}
    if nozzle_mm is not None:
        given["piece"] = BeadPiece.for_nozzle(nozzle_mm, **sizes)
    elif sizes:
        raise InputError(
            "the widths of the ring are drawn for a nozzle, and it is not given",
            hint="Give --nozzle too.",
            where="--nozzle",
        )
    given["flow"] = None if flow_percent is None else flow_percent / 100
    return run_trial(session, "bead", given)


@trial_command.command("fit")
@trial_options
@click.option("--gauge", "gauge_mm", type=MM, help="Your shaft or bearing, as you measured it.")
@click.option("--gauge-u", "gauge_u_mm", type=MM, help="Its u; else by the caliper's data sheet.")
@click.option(
    "--parts",
    type=click.Choice(("bores", "pins", "both")),
    help="Bores for a shaft, pins for a bearing; else bores.",
)
@click.option("--step", "step_mm", type=MM, help="From size to size; else 0.05 mm.")
@click.option("--making", metavar="NAME", help="How the piece is made.")
@click.pass_obj
def trial_fit_command(
    session: Session,
    /,
    *,
    gauge_mm: float | None,
    parts: str | None,
    step_mm: float | None,
    **given: Any,
) -> int:
    """Try your own part in printed bores or on printed pins: what to draw.

    Answer refuses, turns or loose; a few tries are enough. Without a terminal
    the answers come from standard input, one a line, with --yes.
    """
    from asleft.pieces import FitPiece

    if gauge_mm is not None:
        sizes: dict[str, Any] = {"gauge_mm": gauge_mm, "parts": parts or "bores"}
        if step_mm is not None:
            sizes["step_mm"] = step_mm
        given["piece"] = FitPiece(**sizes)
    elif parts is not None or step_mm is not None:
        raise InputError(
            "the piece is drawn around your own part, and its size is not given",
            hint="Measure it with the caliper and give it with --gauge.",
            where="--gauge",
        )
    return run_trial(session, "fit", given)
