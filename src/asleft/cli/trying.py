"""What the commands of `trial` share: options, running one, its outcome for people.

Not for any one trial; each has its command in `trial`. Talks to `bench` alone.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

from asleft.cli.session import Session, line_options, shared_options
from asleft.cli.typed import read_text
from asleft.cli.wording import many, notes, sentence, wrapped
from asleft.errors import InputError

Command = TypeVar("Command", bound=Callable[..., Any])

SEVERAL = (
    "Several machines at once: each question names its machine. Type later to be asked the\n"
    "other ones first. Ctrl-C stops all of them. Stay with them while they are hot."
)
SPAN_AGAIN = "`asleft trial span --more` reads this piece again where it is not decided."
RING_AGAIN = (
    "`asleft trial bead --density G/CM3` reads this ring again and takes its weight; the density"
    " stands on the spool's data sheet."
)
OUTCOMES = {
    "unfinished": "not finished; the same command goes on where it stands",
    "done": "done",
    "stopped": "stopped; what was read is kept",
    "failed": "failed",
    "no_estimate": "finished, but no estimate can be made",
}


def trial_options(command: Command) -> Command:
    """Add what every trial takes."""
    options = (
        click.option("--list", "only_list", is_flag=True, help="Show the steps; run nothing."),
        click.option("--readings", metavar="FILE", help="Readings already taken (CSV)."),
        click.option("--kept", type=click.IntRange(1), help="The kept state it was made under."),
        click.option("--instrument", metavar="NAME", help="An instrument described before."),
        click.option("--tolerance", metavar="LIST", help="scale=0.1%,shear=1mrad,feed=1%,bead=3%"),
        click.option("--anew", is_flag=True, help="End an unfinished one and begin again."),
        click.option("--yes", is_flag=True, help="Answer yes to every question."),
    )
    for option in reversed(options):
        command = option(command)
    return line_options(shared_options(command))


def run_trial(session: Session, kind: str, given: dict[str, Any]) -> int:
    """Show the steps, or run the trial and tell its result."""
    only_list, yes = given.pop("only_list"), given.pop("yes")
    address, rate_baud = given.pop("address"), given.pop("rate_baud")
    if given["readings"] is not None:
        given["readings"] = read_text(given["readings"], what="readings file")
    elif not only_list:
        session.need_answers(yes=yes)
    if given["tolerance"]:
        from asleft.measure import Tolerance

        given["tolerance"] = Tolerance.parse(given["tolerance"])
    options = {name: value for name, value in given.items() if value is not None}
    if len(session.machines) > 1:
        if yes or address is not None or given["readings"] is not None or only_list:
            raise InputError(
                "several machines are tried at a terminal, by a person who answers for each",
                hint="Leave out --yes, --port, --readings and --list, or name one machine.",
                where="--machine",
            )
        return _try_several(session, kind, options)
    with session.bench(yes=yes, address=address, rate_baud=rate_baud) as bench:
        if only_list:
            session.emit(_listed(kind, bench.trial_steps(kind, options)), _listed_lines)
            return 0
        document = bench.trial(kind, options)
    session.emit(document, trial_lines)
    return _status(document)


def _try_several(session: Session, kind: str, options: dict[str, Any]) -> int:
    """The same trial at several machines at once, and what came of each."""
    click.echo(SEVERAL, err=True)
    with session.several() as several:
        came = several.run(lambda bench: bench.trial(kind, options))
    session.emit(
        {"schema": "asleft.several/1", "machines": [each.to_dict() for each in came]},
        several_lines,
    )
    return max(each.error.exit_status if each.error else _status(each.told or {}) for each in came)


def several_lines(document: dict[str, Any]) -> list[str]:
    """`asleft.several/1` for people."""
    lines: list[str] = []
    for each in document["machines"]:
        lines += ["", f"{each['machine']}:"] if lines else [f"{each['machine']}:"]
        error = each["error"]
        if error is None:
            lines += trial_lines(each["told"])
            continue
        lines += wrapped(sentence(error["message"]))
        if error["hint"]:
            lines += wrapped(f"What to do: {error['hint']}")
    return lines


def _listed(kind: str, steps: list[str]) -> dict[str, Any]:
    """`asleft.trial/1` of a trial that was shown and not run."""
    return {
        "schema": "asleft.trial/1",
        "trial": kind,
        "steps": steps,
        "calibration": None,
        "outcome": None,
        "readings": [],
        "result": None,
        "reason": "shown only; nothing was run",
        "warnings": [],
    }


def _listed_lines(document: dict[str, Any]) -> list[str]:
    return [line for step in document["steps"] for line in wrapped(step, further=" " * 5)]


def _status(document: dict[str, Any]) -> int:
    if document["outcome"] != "done":
        return 1
    proposals = (document["result"] or {}).get("proposals", [])
    return 1 if any(p["verdict"] == "inspect" for p in proposals) else 0


def trial_lines(document: dict[str, Any]) -> list[str]:
    """`asleft.trial/1` for people."""
    from asleft.cli.finding import result_lines

    what = f"Trial {document['trial']}, calibration {document['calibration']}"
    kept = f"Kept: {many(len(document['readings']), 'reading')}."
    lines = wrapped(f"{what}: {OUTCOMES[document['outcome']]}. {kept}")
    if document["reason"]:
        lines += wrapped(f"Why: {sentence(document['reason'])}")
    result = document["result"]
    if not result:
        return lines + notes(document["warnings"])
    lines += ["", *result_lines(result)]
    to_set = [p for p in result["proposals"] if p["place"] == "controller"]
    if any(p["verdict"] == "adjust" and p["proposed"] is not None for p in to_set):
        lines += ["", *wrapped("`asleft set --from-findings --store` makes the change.")]
    undecided = [p for p in result["proposals"] if p["verdict"] == "measure_more"]
    if document["trial"] == "span" and any(p in to_set for p in undecided):
        lines += ["", *wrapped(SPAN_AGAIN)]
    weighed = any(each.get("unit") == "g" for each in document["readings"])
    if document["trial"] == "bead" and undecided and not weighed:
        lines += ["", *wrapped(RING_AGAIN)]
    return lines
