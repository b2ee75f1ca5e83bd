"""`asleft set`, `undo` and `restore`: changes, each shown before, sent, read back, compared.

Not for deciding what may be set; `bench` refuses, previews and verifies.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import click

from asleft.cli.session import Session, line_options, shared_options
from asleft.cli.wording import notes, plain, sentence, table, wrapped
from asleft.errors import InputError
from asleft.units import LINEAR_AXES, SKEW_PLANES, is_tool_axis, parse_assignments

PROVE = (
    "Next: `asleft prove --power-cycled` after you switched the machine off and on, and `asleft"
    " prove` for a second piece."
)


def _unit(name: str) -> str:
    if name in LINEAR_AXES or is_tool_axis(name):
        return " steps/mm"
    if name in SKEW_PLANES:
        return " mm/mm"
    return " mm" if name in ("L", "R") else ""


@click.command("set")
@click.argument("values", nargs=-1, metavar="NAME=VALUE...")
@click.option("--from-findings", is_flag=True, help="The standing proposals of this calibration.")
@click.option("--store", is_flag=True, help="Store as well: everything in force is stored.")
@click.option("--far", is_flag=True, help="A value far from the one in force is meant.")
@click.option("--yes", is_flag=True, help="Send without asking.")
@line_options
@shared_options
@click.pass_obj
def set_command(
    session: Session,
    /,
    *,
    values: Sequence[str],
    from_findings: bool,
    store: bool,
    far: bool,
    yes: bool,
    address: str | None,
    rate_baud: int | None,
) -> int:
    """Change values, read them back, compare.

    Names: X Y Z E (E0, E1, …) in steps/mm; XY XZ YZ for skew in mm/mm; L R for a delta in mm.
    Nothing is sent before the change was shown and confirmed. --store alone stores what is
    in force.
    """
    if (values and from_findings) or not (values or from_findings or store):
        raise InputError(
            "say what to set, in one way",
            hint="Give NAME=VALUE, or --from-findings after a trial that proposes a change.",
            where="set",
        )
    wanted = _wanted(values)
    _need_answers(session, yes=yes, address=address)
    with session.bench(yes=yes, address=address, rate_baud=rate_baud) as bench:
        document = bench.set(wanted or None, from_findings=from_findings, store=store, far=far)
    return tell_change(session, document)


@click.command("undo")
@click.option("--yes", is_flag=True, help="Send without asking.")
@line_options
@shared_options
@click.pass_obj
def undo_command(
    session: Session, /, *, yes: bool, address: str | None, rate_baud: int | None
) -> int:
    """Put back everything that this calibration changed."""
    _need_answers(session, yes=yes, address=address)
    with session.bench(yes=yes, address=address, rate_baud=rate_baud) as bench:
        document = bench.undo()
    return tell_change(session, document)


@click.command("restore")
@click.argument("kept", type=click.IntRange(1), metavar="KEPT", required=False)
@click.option("--all", "everything", is_flag=True, help="Every line of it, also unknown ones.")
@click.option("--yes", is_flag=True, help="Send without asking.")
@line_options
@shared_options
@click.pass_obj
def restore_command(
    session: Session,
    /,
    *,
    kept: int | None,
    everything: bool,
    yes: bool,
    address: str | None,
    rate_baud: int | None,
) -> int:
    """Put back what a kept state holds; KEPT is its number. Without it they are listed."""
    if kept is None:
        raise _which_state(session)
    session.need_answers(yes=yes)
    with session.bench(yes=yes, address=address, rate_baud=rate_baud) as bench:
        document = bench.restore(kept, everything=everything)
    return tell_change(session, document)


def _which_state(session: Session) -> InputError:
    """The question that lists the kept states of the latest calibration."""
    with session.bench() as bench:
        states = bench.record(close=False)["kept_states"]
    told = [f"{s['kept']} {s['reason']}, {s['at'][:16].replace('T', ' ')}" for s in states]
    if states and "as found" not in told[0]:
        told[0] += " (as found)"
    return InputError(
        "say which kept state is to be put back", hint="; ".join(told) + ".", where="KEPT"
    )


def _need_answers(session: Session, *, yes: bool, address: str | None) -> None:
    """Refuse before the port is opened; without a port the change is handed over unasked."""
    if address is not None:
        session.need_answers(yes=yes)


def _wanted(values: Sequence[str]) -> dict[str, float]:
    """Names in capitals and numbers, each name once."""
    wanted: dict[str, float] = {}
    for name, value in parse_assignments(" ".join(values), where="set").items() if values else ():
        if name.upper() in wanted:
            raise InputError(f"{name} is given twice", hint="Give each name once.", where="set")
        wanted[name.upper()] = value
    return wanted


def tell_change(session: Session, document: dict[str, Any]) -> int:
    """Print a change and answer 1 where it is not as wished."""
    session.emit(document, change_lines)
    wrong = document["verified"] is False or document["stored"] is False
    return 1 if wrong or document["survived_power_cycle"] is False else 0


def change_lines(document: dict[str, Any]) -> list[str]:
    """`asleft.set/1` and its kin for people: a table of values, then what it means."""
    lines = _value_table(document)
    if document["sent"]:
        lines += ["", "Sent:", *(f"  {line}" for line in document["sent"])]
    if document["by_hand"]:
        lines += ["", "To enter by hand:", *(f"  {line}" for line in document["by_hand"])]
    lines += [""] if lines else []
    lines += _verdict_lines(document)
    if document["reason"]:
        lines += wrapped(f"Why: {sentence(document['reason'])}")
    for when in ("before", "after"):
        if document[f"kept_{when}"] is not None:
            lines += wrapped(f"The settings {when} are kept as state {document[f'kept_{when}']}.")
    if document.get("schema") == "asleft.set/1" and document["verified"] and document["stored"]:
        lines += ["", *wrapped(PROVE)]
    return lines + notes(document["warnings"])


def _value_table(document: dict[str, Any]) -> list[str]:
    """Before and after, the rows that differ marked."""
    before, after = document["before"] or {}, document["read_back"] or {}
    if not after:  # nothing was sent: it is handed over, or was not confirmed
        held = [(name, f"{plain(value)}{_unit(name)}") for name, value in before.items()]
        return table([("", "in force"), *held], right=frozenset({1})) if before else []
    rows = [("", "before", "read back", "")]
    for name in [*before, *(n for n in after if n not in before)]:
        old, new = before.get(name), after.get(name)
        changed = "changed" if name in before and name in after and old != new else ""
        cells = (
            f"{plain(value)}{_unit(name)}" if value is not None else "" for value in (old, new)
        )
        rows.append((name, *cells, changed))
    return table(rows, right=frozenset({1, 2}))


def _verdict_lines(document: dict[str, Any]) -> list[str]:
    said = []
    if document["verified"] is not None:
        said.append(
            "The machine holds what was wished, and everything else as before"
            if document["verified"]
            else "Not verified: the machine does not hold what was wished"
        )
    if document["stored"]:
        said.append("It is stored, and was read from storage again")
    elif document["stored"] is False:
        held = "in force and not stored" if document["verified"] else "not stored"
        said.append(f"It is {held}: after the next power cycle the machine has the old values")
    if document["survived_power_cycle"] is not None:
        said.append(
            "It survived the power cycle"
            if document["survived_power_cycle"]
            else "It did not survive the power cycle"
        )
    if document["handed_over"]:
        said.append(
            "Handed over, as the lines to enter above: it counts when a fresh report shows the"
            " values, where the machine gives one, and a second piece comes out as foretold"
        )
    return [line for text in said for line in wrapped(sentence(text))]
