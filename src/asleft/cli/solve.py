"""`asleft solve`: estimates from readings files, without machine and without store.

Not for keeping anything. Reads options and files, calls `measure`, prints findings. Imports
neither the store nor the line unless an instrument is named, so that it starts fast.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

import click

from asleft.cli.session import Session, shared_options
from asleft.cli.typed import MM, SKEW, STEPS, Number, read_text
from asleft.errors import InputError

if TYPE_CHECKING:
    from asleft.measure import Instrument, Solution, Tolerance

Command = TypeVar("Command", bound=Callable[..., Any])
DRIVES = ("cartesian", "crossed-belt", "delta")


@click.group(name="solve")
def solve_command() -> None:
    """Estimate from readings files; no machine is needed."""


def measure_options(command: Command) -> Command:
    """Add what both trials need: files, steps in force, the caliper, tolerances."""
    options = (
        click.argument("files", nargs=-1, required=True, metavar="FILE..."),
        click.option("--steps", type=STEPS, help="Steps per mm in force when it was made."),
        click.option("--instrument", metavar="NAME", help="An instrument described before."),
        click.option("--resolution", type=MM, help="The caliper's resolution; else 0.01 mm."),
        click.option("--mpe", type=MM, help="Its maximum permissible error; else 0.03 mm."),
        click.option("--reach", type=MM, help="Its reach; else 150 mm."),
        click.option("--tolerance", metavar="LIST", help="scale=0.1%,shear=1mrad,feed=1%,bead=3%"),
        click.option("--making", metavar="NAME", help="How the piece was made."),
    )
    for option in reversed(options):
        command = option(command)
    return shared_options(command)


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
    instrument, tolerance = _instrument(session, given), _tolerance(given)
    in_force = (given["steps"] or {}).get(axis)

    def one(text: str, name: str) -> Solution:
        return solve_feed(
            parse_feed_table(text, name=name),
            instrument=instrument,
            in_force=in_force,
            axis=axis,
            tolerance=tolerance,
        )

    return _solve_all(session, files, one, given)


@solve_command.command("span")
@measure_options
@click.option("--skew", type=SKEW, help="Skew factors active while the piece was printed.")
@click.option("--drive", type=click.Choice(DRIVES), default="cartesian", show_default=True)
@click.option("--geometry", type=STEPS, help="Steps per mm that the drive has by design.")
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
        "instrument": _instrument(session, given),
        "in_force": given["steps"] or {},
        "skew": given["skew"],
        "tolerance": _tolerance(given),
        "shrinkage_to": given["shrinkage_to"],
        "drive": given["drive"],
        "geometry": given["geometry"],
    }
    if given["shrinkage_percent"] is not None:
        # A part that comes out smaller has a negative h.
        settings["shrinkage"] = -given["shrinkage_percent"] / 100
        settings["shrinkage_u"] = given["shrinkage_u"] / 100
    if given["piece_temperature_u_k"] is not None:
        settings["piece_temperature_u_k"] = given["piece_temperature_u_k"]

    def one(text: str, name: str) -> Solution:
        return solve_span(parse_span_table(text, name=name), **settings)

    return _solve_all(session, files, one, given)


def _solve_all(
    session: Session,
    files: Sequence[str],
    solve_one: Callable[[str, str], Solution],
    given: dict[str, Any],
) -> int:
    """Solve each file, print all, and answer 1 if hardware is to be looked at first."""
    from asleft.cli.terminal import TerminalPerson

    if list(files).count("-") > 1:
        raise InputError("standard input can be read only once", hint="Give one -.", where="-")
    person, began_s = TerminalPerson(), time.monotonic()
    results = []
    for number, name in enumerate(files, start=1):
        text, shown = read_text(name, what="readings file")
        result = solve_one(text, shown).to_dict()
        results.append({"file": shown, "making": given["making"], **result})
        if len(files) > 1:
            spent_s = time.monotonic() - began_s
            left_s = spent_s / number * (len(files) - number)
            person.progress(f"Solving {len(files)} files", number / len(files), left_s)
    session.emit({"schema": "asleft.solve/1", "results": results}, _solved_lines)
    verdicts = [p["verdict"] for result in results for p in result["proposals"]]
    return 1 if "inspect" in verdicts else 0


def _solved_lines(document: dict[str, Any]) -> list[str]:
    from asleft.cli.finding import copy_lines, result_lines
    from asleft.cli.wording import wrapped

    lines: list[str] = []
    for result in document["results"]:
        made = f", {result['making']}" if result["making"] else ""
        lines += wrapped(f"{result['file']}: {result['trial']}{made}")
        lines += [*result_lines(result), *copy_lines(result), ""]
    while lines and not lines[-1]:
        lines.pop()
    return lines


def _instrument(session: Session, given: dict[str, Any]) -> Instrument:
    """The instrument named, or the default, with what was typed put over it."""
    from dataclasses import replace

    from asleft.measure import Instrument

    instrument = Instrument(name="caliper")
    if given["instrument"] is not None:
        with session.store() as store:
            row = store.instrument(given["instrument"])
        if row is None:
            raise InputError(
                f"no instrument is called {given['instrument']!r}",
                hint="`asleft instrument list` shows those described.",
                where="--instrument",
            )
        instrument = Instrument.from_dict(row.description)
    typed = {
        f"{name}_mm": given[name]
        for name in ("resolution", "mpe", "reach")
        if given[name] is not None
    }
    return replace(instrument, **typed)


def _tolerance(given: dict[str, Any]) -> Tolerance:
    from asleft.measure import Tolerance

    return Tolerance.parse(given["tolerance"]) if given["tolerance"] else Tolerance()
