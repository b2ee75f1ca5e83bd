"""`asleft allow`: what to draw so that a hole, a shaft or a length comes out as wanted.

Not for the arithmetic, which is in `measure`. Findings come from a file of `solve --json`, or
are typed, or are those of a machine that is named; nothing is kept.
"""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any, Literal

import click

from asleft.cli.session import Session, shared_options
from asleft.cli.typed import MM, Number, read_text
from asleft.cli.wording import notes, table, wrapped
from asleft.errors import InputError

if TYPE_CHECKING:
    from asleft.measure import Making

SIGNED_MM = Number("MM", low=-100, low_allowed=True, high=100, lengths=True)
SIGNED_PERCENT = Number("PERCENT", low=-20, low_allowed=True, high=20)


@click.command(name="allow")
@click.argument("kind", type=click.Choice(("hole", "shaft", "length")))
@click.argument("size", type=MM)
@click.option("--clearance", type=SIGNED_MM, help="Wanted, on the diameter; SIZE is the mate's.")
@click.option("--findings", metavar="FILE", help="What `asleft solve … --json` printed.")
@click.option("--adjusted", is_flag=True, help="Steps were changed as found there.")
@click.option("--scale-percent", type=SIGNED_PERCENT, help="Error of printed scale.")
@click.option("--scale-u", type=Number("PERCENT", high=20), help="Its standard uncertainty.")
@click.option("--growth", type=SIGNED_MM, help="Growth of outside sizes, both faces.")
@click.option("--growth-u", type=MM, help="Its standard uncertainty.")
@shared_options
@click.pass_obj
def allow_command(
    session: Session,
    /,
    *,
    kind: Literal["hole", "shaft", "length"],
    size: float,
    clearance: float | None,
    **given: Any,
) -> int:
    """What to draw so that a part of SIZE mm fits.

    A shaft is any outside size, a hole any inside size; a length lies between
    like faces or centres. With --clearance, SIZE is the size of the mate. With
    --machine, what its last calibration found is used.
    """
    from asleft.measure import allow

    making = _typed_over(_making(session, given), given)
    found = allow(kind, size, making=making, clearance_mm=clearance)
    session.emit({"schema": "asleft.allow/1", **found.to_dict()}, allow_lines)
    return 0


def _making(session: Session, given: dict[str, Any]) -> Making:
    """What is known: from a file of findings, or from the last calibration of a named machine."""
    from asleft.measure import Making

    if given["findings"] is not None:
        if session.machine is not None:
            raise InputError(
                "findings come from a file or from a machine, not from both",
                hint="Give --findings or --machine.",
                where="--findings",
            )
        results = _results(given["findings"])
        return Making.from_results(results, adjusted=given["adjusted"])
    if session.machine is not None:
        with session.bench() as bench:
            results, adjusted = bench.findings()
        return Making.from_results(results, adjusted=adjusted)
    return Making()


def _typed_over(making: Making, given: dict[str, Any]) -> Making:
    """What was typed, put over what was found."""
    from dataclasses import replace

    scale = _pair(given, "scale_percent", "scale_u")
    if scale is not None:
        making = replace(making, scale=(scale[0] / 100, scale[1] / 100))
    growth = _pair(given, "growth", "growth_u")
    return making if growth is None else replace(making, growth_mm=growth)


def _pair(given: dict[str, Any], value: str, u: str) -> tuple[float, float] | None:
    if (given[value] is None) != (given[u] is None):
        missing = f"--{(u if given[u] is None else value).replace('_', '-')}"
        raise InputError(
            "a value needs its uncertainty, and the other way round",
            hint="Give both.",
            where=missing,
        )
    return None if given[value] is None else (given[value], given[u])


def _results(name: str) -> list[dict[str, Any]]:
    """The results in a file of `asleft.solve/1`."""
    text, shown = read_text(name, what="findings")
    try:
        document = json.loads(text)
    except ValueError as fault:
        raise InputError(
            "the findings are not JSON",
            hint="Write them with `asleft solve … --json`.",
            where=shown,
        ) from fault
    if not isinstance(document, dict) or document.get("schema") != "asleft.solve/1":
        raise InputError(
            "the findings are not of the schema asleft.solve/1",
            hint="Write them with `asleft solve … --json`.",
            where=shown,
        )
    results = document.get("results")
    return results if isinstance(results, list) else []


def allow_lines(document: dict[str, Any]) -> list[str]:
    """`asleft.allow/1` for people."""

    def span(name: str) -> str:
        return f"{document[f'{name}low95_mm']:.3f} to {document[f'{name}high95_mm']:.3f} mm"

    rows = [
        ("draw", f"{document['draw_mm']:.3f} mm"),
        ("comes out", f"{document['expected_mm']:.3f} mm, 95 times of 100 {span('')}"),
        ("drawn plainly", f"{document['as_drawn_mm']:.3f} mm, {span('as_drawn_')}"),
    ]
    if document["wanted_clearance_mm"] is not None:
        rows.append(("clearance", span("clearance_")))
        rows.append(("above 0 with probability", f"{document['p_clear']:.3f}"))
    if document["grade"] is not None:
        rows.append(("holds ISO 286 grade", f"IT{document['grade']}"))
    if document["grade_as_drawn"] is not None:
        rows.append(("drawn plainly", f"IT{document['grade_as_drawn']}"))
    lines = [
        *wrapped(f"{document['kind'].capitalize()}, {document['size_mm']:g} mm:"),
        *table(rows),
    ]
    reason = document["reason"]
    said = [] if reason is None or reason in document["warnings"] else [reason]
    return lines + notes([*said, *document["warnings"]])
