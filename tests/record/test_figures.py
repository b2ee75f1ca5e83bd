"""Numbers on paper, and the charts beside them."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET

import pytest

from asleft.record.charts import Interval, interval_chart
from asleft.record.figures import (
    UNKNOWN,
    alike,
    decimals_for,
    estimate,
    number,
    percent,
    setting_unit,
    with_unit,
)
from asleft.record.names import named


# JCGM 100:2008, 7.2.6: it usually suffices to quote uncertainties to at most two digits.
@pytest.mark.parametrize(
    ("u", "decimals"),
    [(0.35, 2), (0.0347, 3), (1.9, 1), (35.0, 0), (3500.0, 0), (0.00099, 5), (None, 3), (0.0, 3)],
)
def test_an_uncertainty_shows_two_digits(u: float | None, decimals: int) -> None:
    assert decimals_for(u) == decimals


# JCGM 100:2008, H.1.6 and 7.2.2: a 50 mm end gauge, 50.000 838 mm with u = 32 nm.
def test_the_end_gauge_of_the_guide() -> None:
    told = {"name": "length", "value": 50.000838, "u": 0.000032, "unit": "mm"}
    value, u, interval = estimate(told)
    assert (value, u, interval) == ("+50.000838\u00a0mm", "0.000032\u00a0mm", UNKNOWN)


def test_scale_errors_are_shown_in_percent_and_angles_in_mrad() -> None:
    scale = {"value": -0.00212, "u": 0.000231, "low95": -0.0026, "high95": -0.0016, "unit": "1"}
    assert estimate({"name": "printed_scale", **scale}) == (
        "−0.212\u00a0%",
        "0.023\u00a0%",
        "−0.260 to −0.160\u00a0%",
    )
    assert estimate({**scale, "name": "shear", "unit": "rad"})[0] == "−2.12\u00a0mrad"
    fed = {"name": "fed_ratio", "value": 0.95, "u": None, "unit": "1"}
    assert estimate(fed)[:2] == ("0.950\u00a0mm/mm", UNKNOWN)


def test_numbers() -> None:
    assert number(-0.0004, 3) == "0.000"
    assert number(-1.5, 1) == "−1.5"
    assert number(0.5, 1, sign=True) == "+0.5"
    assert number(None) == UNKNOWN
    assert with_unit(None, "mm") == UNKNOWN
    assert number(80.17) == "80.17"
    assert alike([80.0, 80.17, None], "mm") == ["80.00\u00a0mm", "80.17\u00a0mm", UNKNOWN]


@pytest.mark.parametrize(
    ("p", "text"),
    [
        (0.0, "< 0.1\u00a0%"),
        (1e-9, "< 0.1\u00a0%"),
        (0.5, "50.0\u00a0%"),
        (0.99995, "> 99.9\u00a0%"),
        (1.0, "> 99.9\u00a0%"),
        (None, UNKNOWN),
    ],
)
def test_probabilities_that_are_nearly_sure_are_not_rounded_to_sure(
    p: float | None, text: str
) -> None:
    assert percent(p) == text


def test_units_of_settings_and_keys() -> None:
    assert setting_unit("steps_per_mm", "X") == "steps/mm"
    assert setting_unit("E0", "") == "steps/mm"
    assert setting_unit("skew", "XY") == "mm/mm"
    assert setting_unit("L", "") == "mm"
    assert named("max_nozzle_c", 260.0) == ("nozzle limit", "260\u00a0°C")
    assert named("geometry_steps_per_mm", {"X": 80.0}) == (
        "steps by drive geometry",
        "X 80\u00a0steps/mm",
    )
    assert named("line_width_mm", 0.45) == ("line width", "0.45\u00a0mm")
    assert named("travel_mm", [220.0, 220.0, 250.0])[1] == "220 × 220 × 250\u00a0mm"
    assert named("tools", 1) == ("tools", "1")


ROWS = [Interval("X", -0.21, -0.26, -0.16), Interval("Y & Z", 0.05, -0.01, 0.11, outside=True)]


def test_a_chart_shows_every_row_where_its_values_are() -> None:
    root = ET.fromstring(interval_chart(ROWS, unit="%", band=0.1))  # noqa: S314
    space = "{http://www.w3.org/2000/svg}"
    dots = [float(c.attrib["cx"]) for c in root.iter(f"{space}circle")]
    zero = next(
        float(each.attrib["x1"])
        for each in root.iter(f"{space}line")
        if each.attrib["class"] == "zero"
    )
    band = next(root.iter(f"{space}rect"))
    half = float(band.attrib["width"]) / 2
    # The band's half-width is 0.1, so the dots stand at 2.1 and 0.5 of it from zero.
    assert (dots[0] - zero) / half == pytest.approx(-2.1, abs=0.01)
    assert (dots[1] - zero) / half == pytest.approx(0.5, abs=0.01)
    labels = [each.text for each in root.iter(f"{space}text")]
    assert {"X", "Y & Z"} <= set(labels)
    assert "(%)" in str(labels)


@pytest.mark.parametrize("size", [1e-6, 0.003, 0.1, 0.99, 1.0, 7.0, 99.0, 12345.0])
def test_ticks_are_round_few_and_hold_everything(size: float) -> None:
    svg = interval_chart([Interval("X", size, size / 2, size)], unit="mm")
    ticks = re.findall(r'class="text faint"[^>]*>([+−]?[0-9.]+)<', svg)
    assert 3 <= len(ticks) <= 9
    assert len(set(ticks)) == len(ticks)
    assert float(ticks[-1]) >= size
    for x in re.findall(r'x[12]="([0-9.-]+)"', svg):
        assert 0 <= float(x) <= 480


def test_a_chart_without_rows_is_refused() -> None:
    with pytest.raises(ValueError, match="needs rows"):
        interval_chart([], unit="mm")
