"""`asleft event` and `asleft due`: what happened to a machine, and what to look at again.

Which finding an event undoes stands in `bench`; here it is only asked for and told.
"""

from __future__ import annotations

from typing import Any

import click

from asleft.cli.session import Session, shared_options
from asleft.cli.wording import sentence, table, wrapped

# As in `bench`; said here so that help needs no heavy import, held equal by a test.
KINDS = ("extruder", "nozzle", "filament", "belt", "hotend", "firmware", "height", "moved", "other")


@click.command("event")
@click.argument("kind", type=click.Choice(KINDS, case_sensitive=False))
@click.option("--text", default="", help="What happened, in your words.")
@shared_options
@click.pass_obj
def event_command(session: Session, /, *, kind: str, text: str) -> int:
    """Note what was replaced or happened; says which findings no longer stand."""
    with session.bench() as bench:
        document = bench.event(kind, text)
    session.emit(document, event_lines)
    return 0


@click.command("due")
@shared_options
@click.pass_obj
def due_command(session: Session) -> int:
    """Say what should be looked at again, and why."""
    with session.bench() as bench:
        document = bench.due()
    session.emit(document, due_lines)
    return 0


def event_lines(document: dict[str, Any]) -> list[str]:
    """`asleft.event/1` for people."""
    lines = [f"Noted for {document['machine']}."]
    for gone in document["withdrawn"]:
        lines += wrapped(f"The proposal for {gone['setting']} {gone['axis']} no longer stands.")
    if document["due"]:
        lines += ["", "Due now:", *(f"  {what}" for what in document["due"])]
    return lines


def due_lines(document: dict[str, Any]) -> list[str]:
    """`asleft.due/1` for people."""
    if not document["due"]:
        return [f"Nothing is due on {document['machine']}."]
    rows = [(entry["what"], sentence(entry["why"])) for entry in document["due"]]
    return [f"Due on {document['machine']}:", "", *table(rows)]
