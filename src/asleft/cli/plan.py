"""`asleft plan`: before anything is made, what uncertainty, minutes and grams to expect.

Not for the arithmetic: `measure` knows the uncertainty, `pieces` the plastic; here they meet.
Opens no store unless a machine or an instrument is named.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from asleft.cli.bed import bed_of
from asleft.cli.session import Session, shared_options
from asleft.cli.solving import instrument_of, instrument_options, tolerance_of
from asleft.cli.typed import MM, Sizes
from asleft.cli.wording import many, plain, table, wrapped
from asleft.errors import InputError

if TYPE_CHECKING:
    from asleft.measure import Plan
    from asleft.pieces import SpanPiece

SHORT = (
    "More than a quarter of the tolerance: an error near the tolerance may stay undecided, and the"
    " trial then asks for more."
)
REPEATS = click.IntRange(1, 1000)


@click.group(name="plan")
def plan_command() -> None:
    """Tell what a trial will cost and what it will know; nothing is made."""


@plan_command.command("span")
@instrument_options
@click.option("--bed", type=Sizes("X,Y,Z", 3), help="Travel on a square bed, in mm.")
@click.option("--bed-round", type=Sizes("D,Z", 2), help="Diameter and height, in mm.")
@click.option("--pitch", "pitch_mm", type=MM, help="Distance of the posts; else the least.")
@click.option("--repeats", type=REPEATS, default=1, show_default=True, help="Readings a place.")
@click.option("--column/--no-column", default=True, help="With the column for Z, or without.")
@shared_options
@click.pass_obj
def plan_span_command(session: Session, /, *, repeats: int, **given: Any) -> int:
    """The span piece of least plastic that knows X, Y and shear well enough."""
    from asleft.measure import plan_span, reading_minutes
    from asleft.pieces import column_cost, span_cost
    from asleft.trials.choosing import least_span

    instrument, tolerance = instrument_of(session, given), tolerance_of(given)

    def planned(places: Sequence[Any]) -> Plan:
        return plan_span(places, instrument=instrument, repeats=repeats, tolerance=tolerance)

    piece = _largest(session, given, instrument.reach_mm)
    if given["pitch_mm"] is None:
        piece = least_span(piece, planned) or piece
    plan = planned(piece.places())
    grams = span_cost(piece).grams + column_cost(piece).grams
    minutes = span_cost(piece).minutes + column_cost(piece).minutes
    readings = [
        {"label": p.label, "direction": p.direction, "faces": p.faces, "nominal_mm": p.nominal_mm}
        for p in piece.places()
    ]
    return _tell(
        session,
        plan,
        piece={"kind": "span", **piece.to_dict()},
        readings=readings,
        minutes=minutes,
        reading_minutes=reading_minutes(len(readings) * repeats),
        grams=grams,
    )


def _largest(session: Session, given: dict[str, Any], reach_mm: float) -> SpanPiece:
    """The piece asked for, or the largest that bed and reach allow."""
    from asleft.pieces import SpanPiece, fits, stiffened

    shape, travel, _ = bed_of(session, {**given, "nozzle_mm": None})
    travel_mm = travel or (220.0, 220.0, 220.0)
    largest = SpanPiece.for_machine(
        bed_shape=shape, travel_mm=travel_mm, reach_mm=reach_mm, column=given["column"]
    )
    if given["pitch_mm"] is None:
        return largest
    piece = stiffened(replace(largest, pitch_mm=given["pitch_mm"]))
    if not fits(piece, shape, travel_mm):
        raise InputError(
            f"a pitch of {piece.pitch_mm:g} mm does not fit on this bed",
            hint=f"{largest.pitch_mm:g} mm does.",
            where="--pitch",
        )
    return piece


@plan_command.command("feed")
@instrument_options
@click.option("--length", "length_mm", type=MM, default=100.0, help="Fed each time; else 100 mm.")
@click.option("--repeats", type=REPEATS, default=4, show_default=True, help="How many feeds.")
@click.option("--cut", is_flag=True, help="Cut pieces are measured, not marks.")
@click.option("--filament-diameter", type=MM, default=1.75, help="Else 1.75 mm.")
@shared_options
@click.pass_obj
def plan_feed_command(session: Session, /, *, repeats: int, length_mm: float, **given: Any) -> int:
    """The feed trial: what its repeats will know."""
    from asleft.measure import feed_cost, plan_feed

    plan = plan_feed(
        instrument=instrument_of(session, given),
        length_mm=length_mm,
        repeats=repeats,
        marked=not given["cut"],
        tolerance=tolerance_of(given),
    )
    minutes, grams = feed_cost(length_mm, repeats, given["filament_diameter"])
    readings = [
        {"label": str(n), "direction": "E", "faces": None, "nominal_mm": length_mm}
        for n in range(1, repeats + 1)
    ]
    return _tell(session, plan, piece=None, readings=readings, minutes=minutes, grams=grams)


@plan_command.command("traverse")
@instrument_options
@click.option("--axis", type=click.Choice(("X", "Y", "Z")), default="X", show_default=True)
@click.option("--travel", "travel_mm", type=MM, help="From first to last target; else the reach.")
@click.option("--targets", type=click.IntRange(2, 100), default=5, show_default=True)
@click.option("--repeats", type=REPEATS, default=5, show_default=True, help="Cycles.")
@shared_options
@click.pass_obj
def plan_traverse_command(
    session: Session, /, *, axis: str, targets: int, repeats: int, **given: Any
) -> int:
    """The traverse: what its targets and cycles will know."""
    from asleft.measure import plan_traverse, reading_minutes

    instrument = instrument_of(session, given)
    travel_mm = given["travel_mm"] or instrument.reach_mm
    places = [travel_mm * k / (targets - 1) for k in range(targets)]
    plan = plan_traverse(
        axis, places, instrument=instrument, cycles=repeats, tolerance=tolerance_of(given)
    )
    readings = [
        {"label": f"{n}{side}", "direction": axis, "faces": None, "nominal_mm": place}
        for n, place in enumerate(places, start=1)
        for side in ("+", "-")
    ]
    minutes = reading_minutes(2 * targets * repeats)
    return _tell(session, plan, piece=None, readings=readings, minutes=minutes, grams=0.0)


def _tell(session: Session, plan: Plan, *, minutes: float, grams: float, **more: Any) -> int:
    document = {
        "schema": "asleft.plan/1",
        **more,
        **plan.to_dict(),
        "minutes": round(minutes, 1),
        "grams": round(grams, 1),
    }
    session.emit(document, plan_lines)
    return 0


def plan_lines(document: dict[str, Any]) -> list[str]:
    """`asleft.plan/1` for people."""
    lines: list[str] = []
    if document["piece"]:
        column = "with a column for Z" if document["piece"]["column_heights_mm"] else "no column"
        pitch = plain(document["piece"]["pitch_mm"])
        lines += wrapped(f"A span piece with its posts {pitch} mm apart, {column}.")
    count = len(document["readings"])
    feeds = all(each["direction"] == "E" for each in document["readings"])
    what = many(count, "feed" if feeds else "reading")
    if document["repeats"] > 1 and not feeds:
        what = f"{many(count, 'place')}, each read {document['repeats']} times"
    lines += wrapped(f"{what}; expected standard uncertainty:")
    lines += ["", *table([_row(e) for e in document["expected"]], right=frozenset({1}))]
    cost = f"About {document['minutes']:.0f} min and {document['grams']:.1f} g"
    if "reading_minutes" in document:
        cost += f" to print, {document['reading_minutes']:.0f} min to read"
    if not all(each["enough"] for each in document["expected"]):
        lines += ["", *wrapped(SHORT)]
    lines += ["", *wrapped(cost + ".")]
    if document["repeats_enough"] is None:
        lines += wrapped(f"Mind: {document['reason']}.")
    elif document["repeats_enough"] > document["repeats"]:
        lines += wrapped(f"{document['repeats_enough']} repeats would be enough.")
    if document["piece"]:
        sizes = f"--pitch {plain(document['piece']['pitch_mm'])}"
        sizes += "" if document["piece"]["column_heights_mm"] else " --no-column"
        lines += [f"Its piece: asleft piece span {sizes} --out pieces"]
        lines += [f"Its trial: asleft trial span {sizes}"]
    return lines


def _row(expected: dict[str, Any]) -> tuple[str, str, str]:
    factor, unit = {"1": (100.0, "%"), "rad": (1000.0, "mrad")}.get(expected["unit"], (1.0, "mm"))
    name = f"{expected['name'].replace('_', ' ')} {expected['axis'] or ''}".strip()
    word = "enough" if expected["enough"] else "more than a quarter of the tolerance"
    return name, f"{expected['u'] * factor:.3f} {unit}", word
