"""`asleft instrument`: what lengths are measured with, and its checks on a known length.

Not for what an error of the instrument means for a result; that is `measure`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import click

from asleft.cli.session import Session, shared_options
from asleft.cli.typed import MM
from asleft.cli.wording import many, plain, table
from asleft.units import parse_typed

LABELS = {
    "name": ("name", ""),
    "resolution_mm": ("resolution", " mm"),
    "mpe_mm": ("permissible error", " mm"),
    "reach_mm": ("reach", " mm"),
    "jaw_depth_mm": ("jaw depth", " mm"),
    "checks": ("checks", ""),
}


@click.group(name="instrument")
def instrument_command() -> None:
    """Describe what you measure with, and check it."""


@instrument_command.command("describe")
@click.argument("name")
@click.option("--resolution", "resolution_mm", type=MM, help="Smallest step shown; else 0.01 mm.")
@click.option("--mpe", "mpe_mm", type=MM, help="Maximum permissible error; else 0.03 mm.")
@click.option("--reach", "reach_mm", type=MM, help="Longest length; else 150 mm.")
@click.option("--jaw-depth", "jaw_depth_mm", type=MM, help="How far the jaws reach in.")
@shared_options
@click.pass_obj
def describe(session: Session, /, *, name: str, **given: Any) -> int:
    """Describe instrument NAME; on a known one, only what is given changes."""
    changed = {key: value for key, value in given.items() if value is not None}
    with session.bench() as bench:
        described = bench.describe_instrument({"name": name, **changed})
    session.emit({"schema": "asleft.instrument/1", **described}, instrument_lines)
    return 0


@instrument_command.command("list")
@shared_options
@click.pass_obj
def list_instruments(session: Session) -> int:
    """List the instruments described."""
    with session.bench() as bench:
        found = bench.instruments()
    session.emit({"schema": "asleft.instrument/1", "instruments": found}, _list_lines)
    return 0


@instrument_command.command("check")
@click.argument("name")
@click.argument("readings", nargs=-1, required=True, metavar="READING...")
@click.option("--length", "nominal_mm", type=MM, required=True, help="The known length.")
@click.option("--u", "u_mm", type=MM, required=True, help="Its standard uncertainty.")
@shared_options
@click.pass_obj
def check(
    session: Session, /, *, name: str, readings: Sequence[str], nominal_mm: float, u_mm: float
) -> int:
    """Keep readings of a known length, such as a gauge block; estimates use it from then on."""
    typed = [parse_typed(text, where=f"reading {n}") for n, text in enumerate(readings, start=1)]
    with session.bench() as bench:
        details = bench.check_instrument(name, typed, nominal_mm=nominal_mm, u_mm=u_mm)
    document = {"schema": "asleft.instrument/1", "name": name, "check": details}
    session.emit(document, _check_lines)
    return 0


def instrument_lines(document: dict[str, Any]) -> list[str]:
    """One described instrument for people."""
    return table(
        [
            (label, plain(document[key]) + unit)
            for key, (label, unit) in LABELS.items()
            if document.get(key) is not None
        ]
    )


def _check_lines(document: dict[str, Any]) -> list[str]:
    checked = document["check"]
    rows = [("known length", f"{plain(checked['nominal_mm'])} mm")]
    rows += [(f"reading {n}", f"{plain(r)} mm") for n, r in enumerate(checked["readings_mm"], 1)]
    error = f"{checked['error_mm']:+.4f} mm, standard uncertainty {checked['error_u_mm']:.4f} mm"
    rows.append(("reads too long by", error))
    return [f"The check of {document['name']} is kept.", *table(rows)]


def _list_lines(document: dict[str, Any]) -> list[str]:
    if not document["instruments"]:
        return ["No instrument is described yet. `asleft instrument describe NAME` does it."]
    return table(
        [
            (
                i["name"],
                f"resolution {plain(i['resolution_mm'])} mm",
                f"permissible error {plain(i['mpe_mm'])} mm",
                f"reach {plain(i['reach_mm'])} mm",
                many(i["checks"], "check"),
            )
            for i in document["instruments"]
        ]
    )
