"""`asleft machine`: what an owner says about a machine once.

Not for what the machine itself holds; that is `found`. No line is opened. Stands on `bench`.
"""

from __future__ import annotations

from typing import Any

import click

from asleft.cli.session import Session, line_options, shared_options
from asleft.cli.typed import MM, STEPS, Number, Sizes
from asleft.cli.wording import plain, table
from asleft.errors import InputError

DRIVES = ("cartesian", "crossed-belt", "delta")
LABELS = {
    "name": ("name", ""),
    "drive": ("drive", ""),
    "bed_shape": ("bed", ""),
    "travel_mm": ("travel X, Y, Z", " mm"),
    "tools": ("tools", ""),
    "nozzle_mm": ("nozzle", " mm"),
    "filament_mm": ("filament", " mm"),
    "max_nozzle_c": ("nozzle at most", " °C"),
    "max_bed_c": ("bed at most", " °C"),
    "max_feed_rate_mm_min": ("feed at most", " mm/min"),
    "address": ("address", ""),
    "rate_baud": ("rate", " baud"),
    "geometry_steps_per_mm": ("steps by design", " steps/mm"),
    "steps_per_turn": ("steps a turn", " steps"),
    "power_on_habit": ("at power on", ""),
    "fingerprints": ("answers as", ""),
}


@click.group(name="machine")
def machine_command() -> None:
    """Describe a machine once: drive, bed, limits, address."""


@machine_command.command("describe")
@click.argument("name", required=False)
@click.option("--drive", type=click.Choice(DRIVES), help="Else cartesian.")
@click.option("--bed", type=Sizes("X,Y,Z", 3), help="Travel on a square bed, in mm.")
@click.option("--bed-round", type=Sizes("D,Z", 2), help="Diameter and height, in mm.")
@click.option("--tools", type=click.IntRange(1, 10), help="How many extruders; else 1.")
@click.option("--nozzle", "nozzle_mm", type=MM, help="Bore; else 0.4 mm.")
@click.option("--filament", "filament_mm", type=MM, help="Diameter; else 1.75 mm.")
@click.option(
    "--max-nozzle", "max_nozzle_c", type=Number("C", high=500), help="Limit; else 260 °C."
)
@click.option("--max-bed", "max_bed_c", type=Number("C", high=200), help="Limit; else 110 °C.")
@click.option(
    "--max-feed-rate", "max_feed_rate_mm_min", type=Number("MM/MIN"), help="Else 300 mm/min."
)
@click.option(
    "--geometry", "geometry_steps_per_mm", type=STEPS, help="Steps per mm by pulleys and screws."
)
@click.option(
    "--turn", "steps_per_turn", type=STEPS, help="Full steps · microsteps · gear of one turn."
)
@click.option("--power-on", "power_on_habit", metavar="TEXT", help="What it does at power on.")
@line_options
@shared_options
@click.pass_obj
def describe(session: Session, /, *, name: str | None, **given: Any) -> int:
    """Describe machine NAME; on a known one, only what is given changes."""
    wanted = name or session.machine
    if not wanted:
        raise InputError(
            "a machine needs a name",
            hint="Say what you call it: `asleft machine describe workbench`.",
            where="NAME",
        )
    travel = _travel(given.pop("bed"), given.pop("bed_round"))
    changed = {key: value for key, value in given.items() if value is not None} | travel
    with session.bench() as bench:
        described = bench.describe_machine({"name": wanted, **changed})
    session.emit({"schema": "asleft.machine/1", **described}, machine_lines)
    return 0


@machine_command.command("list")
@shared_options
@click.pass_obj
def list_machines(session: Session) -> int:
    """List the machines described."""
    with session.bench() as bench:
        machines = bench.machines()
    session.emit({"schema": "asleft.machine/1", "machines": machines}, _list_lines)
    return 0


@machine_command.command("show")
@click.argument("name", required=False)
@shared_options
@click.pass_obj
def show(session: Session, /, *, name: str | None) -> int:
    """Show machine NAME; the only one if none is named."""
    with session.bench() as bench:
        described = bench.machine(name or session.machine)
    session.emit({"schema": "asleft.machine/1", **described}, machine_lines)
    return 0


def _travel(square: tuple[float, ...] | None, rounded: tuple[float, ...] | None) -> dict[str, Any]:
    """Bed and travel as the description holds them."""
    if square and rounded:
        raise InputError(
            "a bed is square or round", hint="Give --bed or --bed-round.", where="--bed"
        )
    if square:
        return {"bed_shape": "square", "travel_mm": square}
    if rounded:
        diameter, height = rounded
        return {"bed_shape": "round", "travel_mm": (diameter, diameter, height)}
    return {}


def machine_lines(document: dict[str, Any]) -> list[str]:
    """One described machine for people."""
    document = {**document, "fingerprints": document["fingerprints"] or None}
    rows = [
        (label, plain(document[key]) + (unit if document[key] is not None else ""))
        for key, (label, unit) in LABELS.items()
        if key in document
    ]
    return table(rows)


def _list_lines(document: dict[str, Any]) -> list[str]:
    if not document["machines"]:
        return ["No machine is described yet. `asleft machine describe NAME` does it."]
    return table(
        [
            (
                m["name"],
                m["drive"],
                f"{plain(m['travel_mm'])} mm",
                m["address"] or "no address",
                plain(m["fingerprints"]) or "no fingerprint",
            )
            for m in document["machines"]
        ]
    )
