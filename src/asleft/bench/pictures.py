"""Pictures for a face that shows them: where the jaws go, and what was found against tolerance.

SVG text without a style of its own, so that a page may style it by class in light and dark. Draws
nothing itself: the drawings are those of the pieces and of the record.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from asleft.bench.person import Ask

_STYLE = re.compile(r"<style>.*?</style>", re.DOTALL)
_SIZE = re.compile(r' (?:width|height)="[\d.]+(?:mm)?"')


def picture_of(ask: Ask) -> str | None:
    """What a person would rather look at than read, or None where words must do."""
    if ask.action != "measure_place" or ask.place is None:
        return None
    from asleft.pieces.at_place import place_svg

    about = ask.details
    svg = place_svg(ask.place, about["direction"], about["faces"], about["nominal_mm"])
    return None if svg is None else _for_page(svg)


def scale_chart(quantities: Sequence[Mapping[str, Any]], tolerance: float) -> str | None:
    """Printed scale of each axis with its 95 % interval against the tolerance, in per cent."""
    from asleft.record.charts import Interval, interval_chart

    rows = [
        Interval(
            str(q["axis"]),
            100 * q["value"],
            100 * q["low95"],
            100 * q["high95"],
            outside=abs(q["value"]) > tolerance,
        )
        for q in quantities
        if q["name"] in ("printed_scale", "motion_scale") and None not in (q["value"], q["low95"])
    ]
    if not rows:
        return None
    chart = interval_chart(rows, unit="%", band=100 * tolerance, caption="error of scale")
    return _for_page(chart)


def proof_chart(faces: Sequence[Mapping[str, Any]]) -> str | None:
    """Readings of the second piece less what was foretold, each with its 95 % interval, in mm."""
    from asleft.record.charts import Interval, interval_chart

    rows = [
        Interval(
            str(face["label"]),
            face["reading_mm"] - face["predicted_mm"],
            face["low95_mm"] - face["predicted_mm"],
            face["high95_mm"] - face["predicted_mm"],
            outside=face["inside"] is False,
        )
        for face in faces
        if face.get("reading_mm") is not None
    ]
    chart = interval_chart(rows, unit="mm", caption="read less foretold") if rows else None
    return None if chart is None else _for_page(chart)


def years_chart(series: Mapping[str, Any], events: Sequence[Mapping[str, Any]] = ()) -> str:
    """One of the `series` of `asleft.history/1` over its calibrations, with the events of it."""
    from asleft.record import history_chart

    return _for_page(history_chart(series, tuple(events)))


def _for_page(svg: str) -> str:
    """The drawing without style and fixed size: the page gives both."""
    head, rest = _STYLE.sub("", svg).split(">", 1)
    return _SIZE.sub("", head) + ">" + rest
