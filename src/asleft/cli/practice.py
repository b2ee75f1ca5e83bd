"""`asleft practice`: the practice machine, and a whole calibration of it.

The page is served with it; with `--unattended` a simulated person answers the ordinary prompts
of the bench; with `--line` the machine is served on its address, for every other command, and what
its owner's hands do is typed here. What is hidden is told only after the last estimate.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from asleft.cli import signals
from asleft.cli.open import page_options, serve_page
from asleft.cli.practice_card import LABEL_TEMPERATURE_C
from asleft.cli.practice_file import FileOwner
from asleft.cli.practice_person import PracticePerson
from asleft.cli.session import Session, shared_options
from asleft.practice.names import KINDS

if TYPE_CHECKING:
    from asleft.bench import Bench, Workplace
    from asleft.bench.evening import Evening
    from asleft.page.house import Practice
    from asleft.practice.hands import Hands

JOBS = {
    "found": "Keeping what the machine holds, as found",
    "feed": "Feeding filament, four times",
    "set feed": "Setting the extruder's steps per mm, reading them back",
    "feed again": "Feeding again, to prove it",
    "span": "Printing the span piece and reading it",
    "span more": "Reading again what is not decided yet",
    "set span": "Setting what the evidence supports, reading it back, storing it",
    "power": "Power off and on",
    "proof": "Printing and reading a second piece, foretold before it is read",
}


@click.command()
@click.option("--unattended", is_flag=True, help="Run the whole job, from as found to record.")
@click.option("--seed", type=int, help="Which hidden machine; drawn and printed if not given.")
@click.option(
    "--as",
    "kind",
    type=click.Choice(list(KINDS)),
    metavar="KIND",
    default="cartesian",
    show_default=True,
    help=f"Kind of machine: {', '.join(KINDS)}.",
)
@click.option(
    "--speed",
    type=click.FloatRange(1, 2000),
    default=300.0,
    show_default=True,
    help="How many times faster than the wall its clock runs.",
)
@click.option("--line", is_flag=True, help="Serve its line alone, and its hands by typed words.")
@page_options
@shared_options
@click.pass_obj
def practice_command(
    session: Session,
    /,
    *,
    unattended: bool,
    seed: int | None,
    kind: str,
    speed: float,
    line: bool,
    lan: bool,
    page_port: int | None,
    no_browser: bool,
) -> int:
    """Learn on a practice machine whose errors are hidden until the end."""
    from asleft.practice.hands import Hands

    if seed is None:
        seed = int.from_bytes(os.urandom(4), "big")
    with Hands(seed, kind, speed) as hands:
        if unattended:
            return _unattended(session, hands)
        if line:
            return _serve(session, hands)
        practice = _at_the_page(session, hands)
        serve_page(
            session.practice_workplace(),
            lan=lan,
            page_port=page_port,
            browser=not no_browser,
            practice=practice,
        )
        return 0


def _at_the_page(session: Session, hands: Hands) -> Practice:
    """Described as its owner would, with hands that do what is confirmed at the page."""
    from asleft.page.house import Practice

    session.prepare_home()
    person = PracticePerson(hands, say=_say, progress=_progress)
    with _bench(session.practice_workplace(), person, hands) as bench:
        _describe(bench, hands)
    kind, seed = hands.hello["kind"], hands.hello["seed"]
    return Practice(
        machine=_name(hands),
        address=hands.address,
        hands=person,
        temperature_c=LABEL_TEMPERATURE_C,
        notes=(
            f"This is a practice machine ({kind}, seed {seed}): nothing gets hot and nothing can"
            " break. Its errors are hidden.",
            "Where a person marks, prints or switches, confirming is enough; where a person"
            " measures, the practice instrument shows what to type.",
        ),
    )


def _unattended(session: Session, hands: Hands) -> int:
    from asleft.cli.practice_wording import evening_lines

    place = session.practice_workplace()
    person = PracticePerson(hands, say=_say, progress=_progress)
    with _bench(place, person, hands) as bench, signals.on_stop(bench.stop_now):
        from asleft.bench.evening import whole_evening

        name = _describe(bench, hands)
        kind, seed = hands.hello["kind"], hands.hello["seed"]
        _say(f"Practice machine, {kind}, seed {seed}, at {hands.address}.")
        owner = FileOwner(bench, hands)
        _began("found")
        evening = whole_evening(
            bench,
            {"temperature_c": LABEL_TEMPERATURE_C, "instrument": name},
            began=_began,
            ended=owner.enter,
            done={"found": owner.found()},
        )
        document = bench.record(close=True)
    in_file = owner.left()
    revealed = hands.ask("reveal")  # after the last estimate, and not before
    told = _told(hands, evening, document, revealed, record=_write_record(place.folder, document))
    told |= in_file
    session.emit(told, evening_lines)
    return 0 if told["stored"] and told["survived_power_cycle"] and told["proved"] else 1


def _began(job: str) -> None:
    """Say which job begins."""
    _say(f"{JOBS[job]} …")


def _bench(home: Workplace, person: PracticePerson, hands: Hands) -> Bench:
    from asleft.bench import Bench

    return Bench(
        home,
        person,
        holder=f"asleft practice (process {os.getpid()})",
        machine=_name(hands),
        address=hands.address,
    )


def _name(hands: Hands) -> str:
    return f"practice {hands.hello['kind']} {hands.hello['seed']}"


def _describe(bench: Bench, hands: Hands) -> str:
    """Describe machine and caliper as their owner would, from what is printed on them."""
    bench.describe_machine({"name": _name(hands), **hands.hello["machine"]})
    caliper = {"name": "practice caliper", **hands.hello["instrument"]}
    bench.describe_instrument(caliper)
    return str(caliper["name"])


def _write_record(home: Path, document: dict[str, Any]) -> Path:
    from asleft.record import write_record

    folder = home / "records"
    folder.mkdir(parents=True, exist_ok=True)
    stem = folder / f"calibration-{document['calibration']['id']}"
    write_record(document, stem.with_suffix(".json"))
    write_record(document, stem.with_suffix(".pdf"))
    return stem.with_suffix(".pdf")


def _told(
    hands: Hands,
    evening: Evening,
    document: dict[str, Any],
    revealed: dict[str, Any],
    *,
    record: Path,
) -> dict[str, Any]:
    """`asleft.practice/1`."""
    return {
        "schema": "asleft.practice/1",
        "seed": hands.hello["seed"],
        "kind": hands.hello["kind"],
        "as_found": evening.as_found,
        "as_left": evening.as_left,
        "hidden": revealed["hidden"],
        "residual": revealed["residual"],
        "by_hand": False,
        "stored": evening.stored,
        "survived_power_cycle": evening.survived_power_cycle,
        "proved": evening.proved,
        "proof": {key: evening.jobs["proof"][key] for key in ("chi2", "dof", "p", "reason")},
        "record": str(record),
        "calibration": document["calibration"]["id"],
        "readings": evening.readings,
        "commands": evening.commands,
    }


def _serve(session: Session, hands: Hands) -> int:
    """Serve the machine; work its hands by typed words until the input ends."""
    from asleft.cli.practice_wording import served_lines
    from asleft.cli.practice_words import do

    click.echo(hands.address)
    sys.stdout.flush()
    for line in served_lines(hands.hello):
        _say(line)
    for text in sys.stdin:
        if text.strip():
            click.echo(do(hands, text))
            sys.stdout.flush()
    return 0


def _say(text: str) -> None:
    click.echo(text, err=True)


def _progress(what: str, done: float, remaining_s: float | None) -> None:
    """The practice clock runs too fast for a bar: nothing is drawn."""
