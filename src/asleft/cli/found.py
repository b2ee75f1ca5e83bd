"""`asleft found`: read and keep everything the machine holds, before anything is changed.

Not for changing anything. Over the line, from a pasted report, or from typed values.
"""

from __future__ import annotations

from typing import Any

import click

from asleft.cli.session import Session, line_options, shared_options
from asleft.cli.typed import STEPS, read_text
from asleft.cli.wording import many, notes, plain, sentence, table, wrapped
from asleft.errors import InputError

LENGTHS = ("L", "R", "H")  # of a delta; what else its report holds is in units of its own
ASKING = ["", "`asleft conditions` takes room, spool and temperatures for the record, if you like."]


@click.command("found")
@line_options
@click.option("--report", metavar="FILE", help="A pasted settings report; - is standard input.")
@click.option("--steps", type=STEPS, help="Typed values, where there is no report.")
@shared_options
@click.pass_obj
def found_command(
    session: Session,
    /,
    *,
    address: str | None,
    rate_baud: int | None,
    report: str | None,
    steps: dict[str, float] | None,
) -> int:
    """Read and keep everything the machine holds.

    Opening the port may restart some machines: make sure that nothing is printing.
    """
    if sum(source is not None for source in (address, report, steps)) > 1:
        raise InputError(
            "--port, --report and --steps exclude each other",
            hint="Give one of them.",
            where="found",
        )
    pasted = read_text(report, what="settings report") if report is not None else None
    with session.bench(address=address, rate_baud=rate_baud) as bench:
        if pasted is not None:
            document = bench.found_from_report(*pasted)
        elif steps is not None:
            document = bench.found_from_steps(steps)
        else:
            document = bench.found()
        asks = not session.json_asked and not bench.conditions()["conditions"]
    session.emit(document, lambda told: found_lines(told) + (ASKING if asks else []))
    return 0 if document["complete"] else 1


def found_lines(document: dict[str, Any]) -> list[str]:
    """`asleft.found/1` for people."""
    lines = wrapped(f"{document['machine']}: kept as state {document['kept']}.")
    lines += [""]
    rows = [
        (f"steps {axis}", f"{plain(value)} steps/mm" if value is not None else "unknown")
        for axis, value in document["steps_per_mm"].items()
    ]
    for plane, value in (document["skew"] or {}).items():
        rows.append((f"skew {plane}", f"{plain(value)} mm/mm"))
    for name, value in (document["delta"] or {}).items():
        rows.append((f"delta {name}", f"{plain(value)} mm" if name in LENGTHS else plain(value)))
    lines += [*table(rows), ""]
    words = {"yes": "can store settings", "no": "cannot store settings"}
    storage = words.get(document["storage"], "has not shown whether it can store settings")
    read = many(len(document["settings"]), "setting")
    lines += wrapped(f"The machine {storage}; {read} read.")
    if not document["complete"]:
        reason = document.get("reason") or "the report is not complete"
        lines += wrapped(f"Not complete: {sentence(reason)}")
    for each in document["differs_from_stored"]:
        lines += wrapped(f"In force but not stored: {plain(each)}.")
    return lines + notes(document["warnings"])
