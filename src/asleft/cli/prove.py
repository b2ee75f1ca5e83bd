"""`asleft prove`: that a change outlasts a power cycle, and that a second piece is as foretold.

Not for judging; `bench` compares and `measure` predicts.
"""

from __future__ import annotations

from typing import Any

import click

from asleft.cli.change import change_lines
from asleft.cli.session import Session, line_options, shared_options
from asleft.cli.typed import read_text
from asleft.cli.wording import notes, table, wrapped


@click.command("prove")
@click.option("--power-cycled", is_flag=True, help="Power was off and is on again.")
@click.option("--power-cycle-now", is_flag=True, help="Switch it off and on while we listen.")
@click.option("--readings", metavar="FILE", help="Readings of the second piece (CSV).")
@click.option("--yes", is_flag=True, help="Answer yes to every question.")
@line_options
@shared_options
@click.pass_obj
def prove_command(
    session: Session,
    /,
    *,
    power_cycled: bool,
    power_cycle_now: bool,
    readings: str | None,
    yes: bool,
    address: str | None,
    rate_baud: int | None,
) -> int:
    """See that the change holds.

    After a power cycle the settings are read again and compared with as left. Otherwise a
    second piece is foretold, printed, read (or taken from --readings), and judged.
    """
    cycle = power_cycled or power_cycle_now
    taken = read_text(readings, what="readings file") if readings is not None else None
    if power_cycle_now or not (cycle or taken):
        session.need_answers(yes=yes)
    with session.bench(yes=yes, address=address, rate_baud=rate_baud) as bench:
        document: dict[str, Any] = {}
        if cycle:
            document = bench.prove(power_cycled=power_cycled, power_cycle_now=power_cycle_now)
        if taken is not None or not cycle:
            document = _joined(document, bench.prove(readings=taken))
    session.emit(document, prove_lines)
    unproved = cycle and document["survived_power_cycle"] is not True
    return 1 if unproved or document["verified"] is not True else 0


def _joined(cycle: dict[str, Any], piece: dict[str, Any]) -> dict[str, Any]:
    """Both proofs of one command as one document: true only where both are."""
    if not cycle:
        return piece
    reasons = [r for r in (cycle["reason"], piece["reason"]) if r]
    return {
        **cycle,
        **{name: piece[name] for name in ("predicted", "chi2", "dof", "p")},
        "verified": bool(cycle["verified"]) and bool(piece["verified"]),
        "reason": "; ".join(reasons) or None,
        "warnings": [*cycle["warnings"], *piece["warnings"]],
    }


def prove_lines(document: dict[str, Any]) -> list[str]:
    """`asleft.prove/1` for people."""
    predicted = document["predicted"]
    if not predicted:  # whose word it is stands before what it proves
        return [*notes(document["warnings"]), *change_lines({**document, "warnings": []})]
    rows = [("place", "foretold 95 %", "read", "")]
    for face in predicted:
        rows.append(
            (
                str(face["label"]),
                f"{face['low95_mm']:.3f} to {face['high95_mm']:.3f} mm",
                f"{face['reading_mm']:.3f} mm"
                if face.get("reading_mm") is not None
                else "not counted",
                "" if face.get("inside") is not False else "outside",
            )
        )
    lines = [*table(rows, right=frozenset({1, 2})), ""]
    if document["p"] is not None:
        text = (
            f"Chi-squared {document['chi2']:.2f} at {document['dof']} degrees of freedom:"
            f" p = {document['p']:.3f}."
        )
        lines += wrapped(text)
    agrees = "came out as foretold" if document["verified"] else "did not come out as foretold"
    return [*lines, *wrapped(f"The second piece {agrees}."), *_rest(document)]


def _rest(document: dict[str, Any]) -> list[str]:
    """What the power cycle and the reason add, without the verdict said already."""
    return change_lines({**document, "verified": None})
