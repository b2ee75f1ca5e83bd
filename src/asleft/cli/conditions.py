"""`asleft conditions`: what the record should know of this evening beside readings.

Asked for nowhere else in the terminal, so that nobody is stopped for it. What may be said stands
in `record`; here it is only taken and told.
"""

from __future__ import annotations

from typing import Any

import click

from asleft.cli.session import Session, shared_options
from asleft.cli.typed import MM, Number
from asleft.cli.wording import plain, sentence, table, wrapped

_C = Number("C", low=-300.0, low_allowed=True)
# What each is called here, and its unit; the keys are those of `asleft.record/1`.
SHOWN = {
    "measured_by": ("measured by", ""),
    "where": ("where", ""),
    "room_c": ("room", "°C"),
    "room_u_c": ("room, standard uncertainty", "°C"),
    "material": ("material", ""),
    "spool": ("spool", ""),
    "nozzle_mm": ("nozzle", "mm"),
    "nozzle_c": ("nozzle temperature", "°C"),
    "bed_c": ("bed temperature", "°C"),
    "dried": ("dried", ""),
}


@click.command("conditions")
@click.option("--room", "room_c", type=_C, help="Temperature of the room, °C.")
@click.option("--room-u", "room_u_c", type=_C, help="How well it is known: u in °C.")
@click.option("--material", metavar="TEXT", help="The plastic, as on its spool.")
@click.option("--spool", metavar="TEXT", help="Which spool: colour, maker's batch, your number.")
@click.option("--nozzle", "nozzle_mm", type=MM, help="Bore of the nozzle.")
@click.option("--nozzle-temp", "nozzle_c", type=_C, help="As the pieces are printed, °C.")
@click.option("--bed-temp", "bed_c", type=_C, help="As the pieces are printed, °C.")
@click.option("--dried", metavar="TEXT", help="How the filament was dried, or that it was not.")
@click.option("--where", metavar="TEXT", help="The workshop and the place.")
@click.option("--measured-by", metavar="NAME", help="Who measures, as the record shall name them.")
@shared_options
@click.pass_obj
def conditions_command(session: Session, /, **said: float | str | None) -> int:
    """Say under which conditions this evening's readings are taken; alone, show what was said.

    All of it is optional, may be said at any time, and stands in the record.
    """
    with session.bench() as bench:
        document = bench.conditions(said)
    session.emit(document, conditions_lines)
    return 0


def conditions_lines(document: dict[str, Any]) -> list[str]:
    """`asleft.conditions/1` for people."""
    said = document["conditions"]
    where = f"calibration {document['calibration']} of {document['machine']}"
    if document["calibration"] is None:
        where = f"{document['machine']}; no calibration is open"
    lines = [f"Conditions, {where}:", ""]
    rows = [(SHOWN[key][0], f"{plain(said[key])} {SHOWN[key][1]}".strip()) for key in said]
    lines += table(rows) if rows else ["  nothing was said yet"]
    if document["not_said"]:
        lines += ["", "Not said, and what that means:", ""]
    for each in document["not_said"]:
        text = f"{SHOWN[each['what']][0]}: {sentence(each['meaning'])}"
        lines += wrapped(text, indent="  ", further="    ")
    return lines
