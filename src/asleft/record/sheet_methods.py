"""The part of the record on paper about how it was measured and by what rule it was decided.

One sentence a kind of trial, with what that trial was begun with. Finished text from the document
alone.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from asleft.record.blocks import Block, facts, says
from asleft.record.figures import number, with_unit

Begun = dict[str, Any]


def methods(document: dict[str, Any]) -> list[Block]:
    """How each kind of trial measures, what is harmless, and what decides."""
    kinds = dict.fromkeys(trial["kind"] for trial in document["trials"])
    blocks = [facts([(kind, WAYS[kind]) for kind in kinds])] if kinds else []
    return [*blocks, *decision(document)] or [says("No trial was made.")]


def decision(document: dict[str, Any]) -> list[Block]:
    """The tolerances and the rule by which they decide; nothing where nothing was decided."""
    found = [
        text
        for trial in document["trials"]
        if (text := tolerance(trial["parameters"].get("basis", {}).get("tolerance")))
    ]
    if not found:
        return []
    blocks = [says(f"Errors within {found[-1]} are harmless.")]
    if rule := document.get("decision_rule"):
        percent = with_unit(100 * rule["leave_from_probability"], "%")
        blocks.append(
            says(
                "Decision rule: with T the tolerance, u the standard uncertainty of an error and U"
                f" half its 95\u00a0% interval, leave where the error is within T with {percent}"
                " probability or more; adjust where U is within T and the error is beyond U and"
                f" beyond T/2 + {number(rule['guard_factor'])} u (with few readings by"
                " Student's factor of one side), or, to be measured again, where it is beyond"
                " U + T; inspect where readings contradict each other or the error is"
                " more than a sound machine has; else measure more (after JCGM 106 and ISO"
                " 14253-1)."
            )
        )
    return blocks


def tolerance(told: dict[str, float] | None) -> str:
    """The tolerances that decided, in words; empty where none is known."""
    if not told:
        return ""
    parts = [
        f"{name} {100 * told[name]:g}\u00a0%" for name in ("scale", "feed", "bead") if name in told
    ]
    if "shear" in told:
        parts.append(f"shear {1e3 * told['shear']:g}\u00a0mrad")
    if "growth" in told:
        parts.append(f"growth {told['growth']:g}\u00a0mm")
    return ", ".join(parts)


def begun_with(trial: dict[str, Any]) -> str | None:
    """With what a trial was begun, in words; None where it says nothing."""
    begun = trial["parameters"].get("trial") or {}
    way = BEGUN.get(trial["kind"])
    try:
        return way(begun) if way and begun else None
    except (KeyError, TypeError):  # an older record says less
        return None


def _feed(begun: Begun) -> str:
    rates = begun["rates_mm_min"] or [begun["rate_mm_min"]]
    where = (
        "the tube detached, cold"
        if begun["detached"]
        else "nozzle "
        + (
            "as it was"
            if begun["temperature_c"] is None
            else with_unit(begun["temperature_c"], "°C")
        )
    )
    shown = ", ".join(number(rate) for rate in rates)
    return (
        f"{begun['repeats']} × {with_unit(begun['length_mm'], 'mm')} at {shown}\u00a0mm/min,"
        f" {where}, marked at {with_unit(begun['marked_mm'], 'mm')}"
    )


def _piece(begun: Begun) -> str:
    if begun.get("earlier"):
        trials = ", ".join(str(each) for each in begun["earlier"])
        where = f" along {', '.join(begun['directions'])}" if begun.get("directions") else ""
        return f"the piece of trial {trials} read again{where}"
    piece = begun["piece"]
    return (
        f"posts {with_unit(piece['pitch_mm'], 'mm')} apart, {with_unit(piece['post_mm'], 'mm')}"
        f" over flats, {_rounds(begun)}, let cool for"
        f" {with_unit(begun['cooling_minutes'], 'min')}"
    )


def _rounds(begun: Begun) -> str:
    return "1 round" if begun["rounds"] == 1 else f"{begun['rounds']} rounds"


def _traverse(begun: Begun) -> str:
    return (
        f"{begun['along']} from {with_unit(begun['start_mm'], 'mm')} over"
        f" {with_unit(begun['span_mm'], 'mm')}, {begun['targets']} targets, {begun['cycles']}"
        f" cycles, {with_unit(begun['rate_mm_min'], 'mm/min')}"
    )


def _bead(begun: Begun) -> str:
    widths = " / ".join(number(width) for width in begun["piece"]["widths_mm"])
    layer = with_unit(begun["piece"]["layer_mm"], "mm")
    return f"walls drawn {widths}\u00a0mm wide, layers of {layer}, {_rounds(begun)}"


def _fit(begun: Begun) -> str:
    piece = begun["piece"]
    return (
        f"for a part of {with_unit(piece['gauge_mm'], 'mm')}, in steps of"
        f" {with_unit(piece['step_mm'], 'mm')}"
    )


BEGUN: dict[str, Callable[[Begun], str]] = {
    "feed": _feed,
    "span": _piece,
    "proof": _piece,
    "traverse": _traverse,
    "bead": _bead,
    "fit": _fit,
}
WAYS = {
    "feed": "A known length of filament is commanded and what is left of a mark on it is read:"
    " how much went in for what was commanded.",
    "span": "A printed piece is read between posts, outside and inside, along the axes and both"
    " diagonals: what grows with length is scale, what does not is growth of the walls.",
    "traverse": "An axis is sent to targets from both sides and an instrument reads where it"
    " stands: its own scale and reversal, without plastic.",
    "bead": "Walls one bead thick, drawn in several widths, are read across: flow from how width"
    " follows the drawing, growth from what is added to all.",
    "fit": "The part itself is tried in bodies drawn in steps: where refusing ends and where play"
    " begins.",
    "proof": "A second piece is foretold from the first and the change, then read: how far its"
    " readings lie from what was foretold, in one number.",
}
