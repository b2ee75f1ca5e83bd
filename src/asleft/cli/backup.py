"""`asleft backup` and `asleft restore-store`: the whole store into one file, and back.

Not for one calibration's document, which is `record`. What is checked, and how, stands in
`record.backup` and `record.restoring`.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from asleft.cli.session import Session, shared_options
from asleft.cli.wording import notes, wrapped


@click.command("backup")
@click.argument("file")
@click.option("--force", is_flag=True, help="Let it take the place of an earlier backup.")
@shared_options
@click.pass_obj
def backup_command(session: Session, /, *, file: str, force: bool) -> int:
    """Write the store and its wire logs into one file, and read that again.

    What is no backup is never overwritten.
    """
    from asleft.record.backup import back_up
    from asleft.record.store import wall_clock

    place = session.workplace().store
    document = back_up(place, Path(file).expanduser(), clock=wall_clock, force=force)
    session.emit(document, backup_lines)
    return 0


@click.command("restore-store")
@click.argument("file")
@shared_options
@click.pass_obj
def restore_store_command(session: Session, /, *, file: str) -> int:
    """Put a backup in place of the store of this home.

    All of it is checked first; the present store is kept aside in the home.
    Refused while a page or another command has the store open.
    """
    from asleft.record.restoring import put_back
    from asleft.record.store import wall_clock

    document = put_back(session.workplace().store, Path(file).expanduser(), clock=wall_clock)
    session.emit(document, restored_lines)
    return 0


def backup_lines(document: dict[str, Any]) -> list[str]:
    """`asleft.backup/1` for people."""
    return [
        *wrapped(f"The backup is in {document['file']}: {_counted(document)}. It was read again."),
        *_gone(document),
    ]


def restored_lines(document: dict[str, Any]) -> list[str]:
    """`asleft.restore_store/1` for people."""
    made = document["made_at"][:16].replace("T", " ")
    lines = wrapped(f"The store is as it was {made} UTC: {_counted(document)}.")
    if document["kept_aside"] is not None:
        lines += wrapped(f"What was here before is kept in {document['kept_aside']}.")
    return lines + _gone(document)


def _counted(document: dict[str, Any]) -> str:
    rows = document["rows"]
    counts = {
        "machine": rows["machine"],
        "calibration": rows["calibration"],
        "reading": rows["reading"],
        "wire log": document["wire_logs"],
    }
    return ", ".join(f"{n} {what}{'' if n == 1 else 's'}" for what, n in counts.items())


def _gone(document: dict[str, Any]) -> list[str]:
    gone = ", ".join(document["missing_wire_logs"])
    return notes([f"wire logs that the store speaks of are gone: {gone}"] if gone else [])
