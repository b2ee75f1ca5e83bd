"""Charts of readings: everything that was taken is drawn, and where it lies tells what it was."""

from __future__ import annotations

import re
from xml.etree import ElementTree

from asleft.record.charts_tries import tries_chart, widths_chart
from asleft.record.sheet_findings import reading_charts
from asleft.record.sheet_trials import of_place

NS = "{http://www.w3.org/2000/svg}"


def _dots(svg: str) -> list[tuple[str, float, float]]:
    found = ElementTree.fromstring(svg).iter(f"{NS}circle")  # noqa: S314 - our own text
    return [(e.get("class"), float(e.get("cx")), float(e.get("cy"))) for e in found]


def _width(drawn: float, read: float, used: bool = True) -> dict:
    return {"place": {"drawn_width_mm": drawn, "band": "1"}, "value": read, "used": used}


def _try(drawn: float, outcome: str, kind: str = "bore") -> dict:
    place = {"gauge_mm": 8.0, "outcome": outcome, "kind": kind, "label": "3", "drawn_mm": drawn}
    return {"place": place, "value": drawn, "used": True}


def test_widths_lie_on_the_dashed_line_where_read_as_drawn_and_above_where_fat() -> None:
    rows = [_width(0.45, 0.45), _width(0.55, 0.55), _width(0.65, 0.70), _width(0.55, 1.95, False)]
    mass = {"place": {"weighed": True}, "value": 2.4, "used": True}
    dots = _dots(widths_chart([*rows, mass]))
    assert [shape for shape, _, _ in dots] == ["dot", "dot", "dot", "out"]
    (_, x1, y1), (_, x2, y2), (_, x3, y3), (_, _, y4) = dots
    assert abs((y1 - y2) - (x2 - x1)) < 0.02  # one mm is as long upwards as it is to the right
    assert (y2 - y3) > (x3 - x2) * 1.2
    assert 8 <= y4 <= y3  # a slip far off stays inside the frame
    assert widths_chart([mass]) is None


def test_a_try_stands_in_the_lane_of_its_outcome_the_looser_the_further_right() -> None:
    rows = [_try(8.2, "turns"), _try(8.05, "refuses"), _try(8.35, "loose"), _try(8.1, "turns")]
    svg = tries_chart(rows, [{"value": 0.08, "low95": 0.05, "high95": 0.1}, {"value": None}])
    dots = _dots(svg)
    lanes = sorted({y for _, _, y in dots})
    assert len(lanes) == 3 and dots[0][2] == lanes[0]
    xs = [x for _, x, _ in dots]  # lane by lane: refuses, turns, turns, loose
    assert xs[0] < xs[2] < xs[1] < xs[3]
    assert {shape for shape, _, y in dots if y == lanes[1]} == {"out"}
    assert svg.count('class="bar"') == 2
    pins = tries_chart([_try(8.05, "refuses", "pin"), _try(7.9, "turns", "pin")], [])
    assert (d := _dots(pins))[0][1] < d[1][1]
    assert tries_chart([], []) is None


def test_each_kind_of_body_has_its_own_chart_and_its_own_name() -> None:
    rows = [_try(8.1, "turns"), _try(7.9, "turns", "pin")]
    clearance = {"name": "clearance", "axis": "hole", "value": 0.1, "low95": 0.05, "high95": 0.15}
    drawn = reading_charts({"kind": "fit", "readings": rows, "quantities": [clearance]})
    assert [svg.count('class="bar"') for svg in drawn] == [2, 0]
    assert reading_charts({"kind": "feed", "readings": rows, "quantities": []}) == []
    assert re.match(r"bore 3, gauge 8.mm, drawn 8\.1.mm", of_place(
        {"label": "3", "kind": "bore", "gauge_mm": 8.0, "drawn_mm": 8.1}))  # fmt: skip
    assert of_place({"weighed": True}) == "mass of the ring"
