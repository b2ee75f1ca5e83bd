"""What the commands of `solve` share: options, instrument, tolerance, files in, findings out.

Not for any one trial; each has its command in `solve`. Imports neither the store nor the line
unless an instrument is named.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

import click

from asleft.cli.session import Session, shared_options
from asleft.cli.typed import MM, STEPS, read_text
from asleft.errors import InputError

if TYPE_CHECKING:
    from asleft.measure import Instrument, Solution, Tolerance

Command = TypeVar("Command", bound=Callable[..., Any])


def files_options(command: Command) -> Command:
    """Add the files, and how the piece was made."""
    command = click.option("--making", metavar="NAME", help="How the piece was made.")(command)
    command = click.argument("files", nargs=-1, required=True, metavar="FILE...")(command)
    return shared_options(command)


def instrument_options(command: Command) -> Command:
    """Add what an instrument is: by name, or by its data sheet."""
    options = (
        click.option("--instrument", metavar="NAME", help="An instrument described before."),
        click.option("--resolution", type=MM, help="The caliper's resolution; else 0.01 mm."),
        click.option("--mpe", type=MM, help="Its maximum permissible error; else 0.03 mm."),
        click.option("--reach", type=MM, help="Its reach; else 150 mm."),
        click.option("--tolerance", metavar="LIST", help="scale=0.1%,shear=1mrad,feed=1%,bead=3%"),
    )
    for option in reversed(options):
        command = option(command)
    return command


def measure_options(command: Command) -> Command:
    """Add files, making, steps in force, the instrument, tolerances."""
    steps = click.option("--steps", type=STEPS, help="Steps per mm in force when it was made.")
    return files_options(steps(instrument_options(command)))


def solve_all(
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


def instrument_of(session: Session, given: dict[str, Any]) -> Instrument:
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
    instrument = replace(instrument, **typed)
    if not session.json_asked and given["instrument"] is None and given["mpe"] is None:
        click.echo(
            f"No instrument is named: a permissible error of {instrument.mpe_mm:g} mm over"
            f" {instrument.reach_mm:g} mm is assumed. Give --mpe if yours is another.",
            err=True,
        )
    return instrument


def tolerance_of(given: dict[str, Any]) -> Tolerance:
    """The tolerances typed, the others as usual."""
    from asleft.measure import Tolerance

    return Tolerance.parse(given["tolerance"]) if given["tolerance"] else Tolerance()
