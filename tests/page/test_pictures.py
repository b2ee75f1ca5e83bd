"""The charts of the page with their tables, and the pictures that the how-tos name."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from asleft.bench.pictures import proof_figure, years_figure
from asleft.record.charts_rest import Rest, loop_chart, rest_chart

ROOT = Path(__file__).resolve().parents[2]
HOW_TOS = ROOT / "docs" / "how-to"


def circles(svg: str, kind: str) -> list[tuple[float, float]]:
    found = re.findall(rf'<circle class="{kind}" cx="([\d.]+)" cy="([\d.]+)"', svg)
    return [(float(x), float(y)) for x, y in found]


def test_a_reading_set_aside_is_open_and_at_the_edge_with_its_number():
    used = [Rest("1  X outside", 0.02, True), Rest("2  X outside", -0.03, True)]
    svg = rest_chart([*used, Rest("2  X outside", 0.51, False)], unit="mm", caption="rest")
    (near, far), ((aside, row),) = circles(svg, "dot"), circles(svg, "out")
    assert far[0] < near[0] < aside <= 480
    assert row == far[1]  # a repeat stands in the row of its place
    assert "+0.510" in svg and svg.count("X outside") == 2


def test_the_gap_of_a_loop_is_the_reversal():
    """Two lines 0.04 mm apart at every target are drawn as far apart as the scale says."""
    up = [(x, 0.02) for x in (0.0, 50.0, 100.0)]
    down = [(x, -0.02) for x in (0.0, 50.0, 100.0)]
    svg = loop_chart(up, down, axis="X")
    solid, dashed = circles(svg, "dot"), circles(svg, "out")
    gaps = {round(d[1] - u[1], 1) for u, d in zip(solid, dashed, strict=True)}
    (zero,) = re.findall(r'class="zero" x1="[\d.]+" y1="([\d.]+)"', svg)
    assert len(gaps) == 1 and min(gaps) > 50
    assert solid[0][1] < float(zero) < dashed[0][1]


def test_every_chart_has_its_numbers_as_a_table():
    faces = [
        {"label": "1", "reading_mm": 20.5, "predicted_mm": 20.0, "low95_mm": 19.9}
        | {"high95_mm": 20.1, "inside": False},
        {"label": "2", "reading_mm": None, "predicted_mm": 30.0, "low95_mm": 29.9}
        | {"high95_mm": 30.1, "inside": None},
    ]
    figure = proof_figure(faces)
    assert figure is not None and len(circles(figure.svg, "out")) == 1
    assert figure.rows[0][2:] == ("20.500 mm", "outside") and figure.rows[1][2] == "not counted"
    assert proof_figure(faces[1:]) is None  # nothing read, nothing drawn
    point = {"at": "2026-01-02T10:00:00Z", "found": -0.004, "left": 0.0, "level": 0.0, "u": 0.0002}
    point |= {"ewma": 0.0, "low": None, "high": None, "outside": False}
    series = {"name": "printed_scale", "axis": "X", "plane": None, "unit": "1"}
    years = years_figure({**series, "tolerance": 0.001, "points": [point]})
    assert years.rows == (("2026-01-02", "−0.400 %", "0.000 %", "0.000 %", "not known"),)


@pytest.mark.system("chromium")
@pytest.mark.xdist_group("browser")
@pytest.mark.timeout(180)
def test_every_picture_of_a_how_to_is_made(tmp_path):
    named = {
        name
        for page in HOW_TOS.glob("*.md")
        for name in re.findall(r"\]\(pictures/([^)]+)\)", page.read_text(encoding="utf-8"))
    }
    command = [sys.executable, str(ROOT / "tools" / "page_pictures.py"), "--out", str(tmp_path)]
    subprocess.run(command, check=True, timeout=170, capture_output=True)
    made = {file.name for file in tmp_path.glob("*.png")}
    assert len(named) > 10 and named == made
    assert all((tmp_path / name).stat().st_size > 5000 for name in made)
