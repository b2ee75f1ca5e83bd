"""`asleft ports`: where a machine may be plugged in. Nothing is opened."""

from __future__ import annotations

from typing import Any

import click

from asleft.cli.session import Session, shared_options
from asleft.cli.wording import table


@click.command("ports")
@shared_options
@click.pass_obj
def ports_command(session: Session) -> int:
    """List serial ports with what is plugged in, and their stable path."""
    from asleft.bench.line.ports import ports

    session.emit(ports(session.workplace()), ports_lines)
    return 0


def ports_lines(document: dict[str, Any]) -> list[str]:
    """`asleft.ports/1` for people."""
    if not document["ports"]:
        return [
            "There is no serial port. Is the cable plugged in at both ends, and the machine on?"
        ]
    rows = [("port", "what it says of itself", "ids", "machine")]
    for one in document["ports"]:
        ids = f"{one['vendor_id']}:{one['product_id']}" if one["vendor_id"] else ""
        name = one["stable_path"] or one["port"]
        rows.append((name, one["description"] or "", ids, one["machine"] or ""))
    return table(rows)
