"""`asleft store copy`: the whole store to another place, a folder or a database server.

Not for a backup, which is one checked file (`backup`). What is copied, and how it is compared,
stands in `record.moving`.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from asleft.cli.session import Session, shared_options
from asleft.cli.wording import notes, wrapped


@click.group("store")
@shared_options
def store_command() -> None:
    """Copy the whole store to another place."""


@store_command.command("copy")
@click.argument("source", metavar="FROM")
@click.argument("target", metavar="TO")
@shared_options
@click.pass_obj
def copy_command(session: Session, /, *, source: str, target: str) -> int:
    """Copy every row of a store into an empty one, whole or not at all.

    FROM and TO are home folders or database URLs. The store at FROM stays as it is.
    """
    from asleft.record.moving import move

    document = move(_place(source), _place(target))
    session.emit(document, _lines)
    return 0


def _place(text: str) -> Path | str:
    return text if "://" in text else Path(text).expanduser()


def _lines(document: dict[str, Any]) -> list[str]:
    rows = sum(document["rows"].values())
    return [
        *wrapped(
            f"{rows} rows went from {document['source']} to {document['target']}; both places"
            " give the same dump."
        ),
        *notes(["the wire logs are files and stay where they are"]),
    ]
