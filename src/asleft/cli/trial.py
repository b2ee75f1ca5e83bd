"""`asleft trial`: run a trial at the machine with prompts, or take readings from a file.

Not for what a trial consists of; that stands in `trials` and is run by `bench`.
"""

from __future__ import annotations

from typing import Any

import click

from asleft.cli.session import Session, line_options, shared_options
from asleft.cli.typed import MM, Number, read_text
from asleft.cli.wording import notes, sentence, wrapped
from asleft.errors import InputError
from asleft.units import parse_typed

OUTCOMES = {
    "unfinished": "not finished; the same command goes on where it stands",
    "done": "done",
    "stopped": "stopped; what was read is kept",
    "failed": "failed",
    "no_estimate": "finished, but no estimate can be made",
}


@click.group(name="trial")
def trial_command() -> None:
    """Run a trial at the machine, step by step.

    Type `back` at a question to take the reading before it back and enter it again.

    The nozzle burns and moving parts pinch. Stay with a heated machine, follow its manual,
    and leave mains wiring to a licensed electrician.
    """


def _common(command: Any) -> Any:
    """Add what both trials take."""
    options = (
        click.option("--list", "only_list", is_flag=True, help="Show the steps; run nothing."),
        click.option("--readings", metavar="FILE", help="Readings already taken (CSV)."),
        click.option("--kept", type=click.IntRange(1), help="The kept state it was made under."),
        click.option("--instrument", metavar="NAME", help="An instrument described before."),
        click.option("--tolerance", metavar="LIST", help="scale=0.1%,shear=1mrad,feed=1%"),
        click.option("--anew", is_flag=True, help="End an unfinished one and begin again."),
        click.option("--yes", is_flag=True, help="Answer yes to every question."),
    )
    for option in reversed(options):
        command = option(command)
    return line_options(shared_options(command))


@trial_command.command("feed")
@_common
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
    return _run(session, "feed", given)


@trial_command.command("traverse")
@_common
@click.option("--along", type=click.Choice(("X", "Y", "Z")), help="The axis; else X.")
@click.option("--start", "start_mm", type=MM, help="First target, mm from home; else 40.")
@click.option("--span", "span_mm", type=MM, help="From the first target to the last; else 100.")
@click.option("--targets", type=click.IntRange(2, 50), help="How many places; else 5.")
@click.option("--cycles", type=click.IntRange(1, 20), help="How often up and down; else 3.")
@click.pass_obj
def trial_traverse_command(session: Session, /, **given: Any) -> int:
    """Move one axis to targets from both sides and read it; no plastic, no heat.

    Without a terminal the readings come from standard input, one a line, with --yes.
    """
    return _run(session, "traverse", given)


@trial_command.command("span")
@_common
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
    from asleft.pieces import SpanPiece

    if (shrinkage_percent is None) != (shrinkage_u is None):
        raise InputError(
            "a stated shrinkage needs its uncertainty, and the other way round",
            hint="Give both, such as --shrinkage-percent 0.3 --shrinkage-u 0.1.",
            where="--shrinkage-u" if shrinkage_u is None else "--shrinkage-percent",
        )
    if shrinkage_percent is not None and shrinkage_u is not None:
        given |= {"shrinkage": -shrinkage_percent / 100, "shrinkage_u": shrinkage_u / 100}
    sizes: dict[str, Any] = {} if column else {"column_heights_mm": ()}
    if pitch_mm is not None:
        sizes["pitch_mm"] = pitch_mm
    if sizes:
        given["piece"] = SpanPiece(**sizes)
    return _run(session, "span", given)


def _run(session: Session, kind: str, given: dict[str, Any]) -> int:
    """Show the steps, or run the trial and tell its result."""
    only_list, yes = given.pop("only_list"), given.pop("yes")
    address, rate_baud = given.pop("address"), given.pop("rate_baud")
    if given["readings"] is not None:
        given["readings"] = read_text(given["readings"], what="readings file")
    elif not only_list:
        session.need_answers(yes=yes)
    if given["tolerance"]:
        from asleft.measure import Tolerance

        given["tolerance"] = Tolerance.parse(given["tolerance"])
    options = {name: value for name, value in given.items() if value is not None}
    with session.bench(yes=yes, address=address, rate_baud=rate_baud) as bench:
        if only_list:
            session.emit(_listed(kind, bench.trial_steps(kind, options)), _listed_lines)
            return 0
        document = bench.trial(kind, options)
    session.emit(document, trial_lines)
    return _status(document)


def _listed(kind: str, steps: list[str]) -> dict[str, Any]:
    """`asleft.trial/1` of a trial that was shown and not run."""
    return {
        "schema": "asleft.trial/1",
        "trial": kind,
        "steps": steps,
        "calibration": None,
        "outcome": None,
        "readings": [],
        "result": None,
        "reason": "shown only; nothing was run",
        "warnings": [],
    }


def _listed_lines(document: dict[str, Any]) -> list[str]:
    return [line for step in document["steps"] for line in wrapped(step, further=" " * 5)]


def _status(document: dict[str, Any]) -> int:
    if document["outcome"] != "done":
        return 1
    proposals = (document["result"] or {}).get("proposals", [])
    return 1 if any(p["verdict"] == "inspect" for p in proposals) else 0


def trial_lines(document: dict[str, Any]) -> list[str]:
    """`asleft.trial/1` for people."""
    from asleft.cli.finding import result_lines

    what = f"Trial {document['trial']}, calibration {document['calibration']}"
    readings = f"{len(document['readings'])} readings are kept"
    lines = wrapped(f"{what}: {OUTCOMES[document['outcome']]}. {readings}.")
    if document["reason"]:
        lines += wrapped(f"Why: {sentence(document['reason'])}")
    result = document["result"]
    if not result:
        return lines + notes(document["warnings"])
    lines += ["", *result_lines(result)]
    to_set = [p for p in result["proposals"] if p["place"] == "controller"]
    if any(p["verdict"] == "adjust" and p["proposed"] is not None for p in to_set):
        lines += ["", *wrapped("`asleft set --from-findings --store` makes the change.")]
    return lines
