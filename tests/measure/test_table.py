"""Readings files: what is accepted, and what an error names."""

import pytest

from asleft.errors import InputError
from asleft.measure import (
    BeadReading,
    FeedReading,
    FitReading,
    SpanReading,
    TraverseReading,
    parse_bead_table,
    parse_feed_table,
    parse_fit_table,
    parse_span_table,
    parse_traverse_table,
)

MARKED = "marked_mm,remaining_mm,commanded_mm\n"
SPAN = "direction,faces,nominal_mm,reading_mm,place\n"


def test_both_feed_forms() -> None:
    marked = parse_feed_table(MARKED + "120,20.1,100\n", name="f")
    assert marked == [FeedReading(100.0, 120 - 20.1, 120.0, 20.1)]
    cut = parse_feed_table("fed_mm,commanded_mm,rate_mm_min\n99.9,100,60\n99,100,\n", name="f")
    assert cut == [FeedReading(100.0, 99.9, rate_mm_min=60.0), FeedReading(100.0, 99.0)]


def test_what_spreadsheets_write() -> None:
    head = "\ufeff# a clock case\r\nDirection; Faces;nominal_mm;reading_mm\r\n\r\n"
    text = head + "x;OUTSIDE;107;107,13\r\n;;;\r\n"
    assert parse_span_table(text, name="s") == [SpanReading("X", "outside", 107.0, 107.13)]
    quoted = SPAN + 'XY+,same,"134.35",134.31,"a, left"\n'
    assert parse_span_table(quoted, name="s")[0].place == "a, left"


def test_inches_are_lengths() -> None:
    assert parse_feed_table(MARKED + "120,1 in,94.6\n", name="f")[0].remaining_mm == 25.4


@pytest.mark.parametrize(
    ("text", "where", "value"),
    [
        (MARKED + "120,,100\n", "row 2, column remaining_mm", "empty"),
        (MARKED + "120,20,100\n120,abc,100\n", "row 3, column remaining_mm", "abc"),
        (MARKED + "120,nan,100\n", "row 2, column remaining_mm", "nan"),
        (MARKED + "120,inf,100\n", "row 2, column remaining_mm", "inf"),
        (MARKED + "120,-1,100\n", "row 2, column remaining_mm", "-1"),
        (MARKED + "120,20,0\n", "row 2, column commanded_mm", "0"),
        (MARKED + "120,20,1e2\n", "row 2, column commanded_mm", "1e2"),
        (MARKED + "120,20,99999\n", "row 2, column commanded_mm", "99999"),
        (MARKED + "120,0,100\n", "row 2, column remaining_mm", "mark went in"),
        (MARKED + "120,130,100\n", "row 2, column remaining_mm", "130"),
        (MARKED + "120,20,100,7\n", "row 2, column 4", "7"),
        (MARKED + "# noise\n\n120,20\n", "row 4, column commanded_mm", "empty"),
        (MARKED, "file.csv", "no readings"),
        ("", "file.csv", "no header"),
        ("marked_mm,remaining_mm\n120,20\n", "column commanded_mm", "missing"),
        ("fed_mm,commanded_mm,colour\n1,1,red\n", "column colour", "unknown"),
        ("fed_mm,fed_mm,commanded_mm\n1,1,1\n", "column fed_mm", "twice"),
    ],
)
def test_feed_errors_name_the_cell(text: str, where: str, value: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_feed_table(text, name="file.csv")
    assert "file.csv" in (caught.value.where or "")
    assert where in (caught.value.where or "")
    assert value in caught.value.message
    assert caught.value.hint


@pytest.mark.parametrize(
    ("row", "column", "value"),
    [
        ("W,outside,100,100,", "direction", "W"),
        ("X,sideways,100,100,", "faces", "sideways"),
        ("X,outside,0,100,", "nominal_mm", "0"),
        ("X,outside,100,1001,", "reading_mm", "1001"),
        ("X,outside,100,-100,", "reading_mm", "-100"),
        (",outside,100,100,", "direction", "empty"),
    ],
)
def test_span_errors_name_the_cell(row: str, column: str, value: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_span_table(SPAN + "X,outside,100,100.1,\n" + row + "\n", name="s.csv")
    assert caught.value.where == f"s.csv, row 3, column {column}"
    assert value in caught.value.message


TRAVERSE = "axis,target_mm,approach,reading_mm,cycle\n"
BEAD = "drawn_width_mm,reading_mm,mass_g\n"
FIT = "drawn_mm,gauge_mm,outcome\n"


def test_the_other_trials() -> None:
    text = TRAVERSE + "x,-50,+,-49.98,1\nX,0,-,0.02,\n"
    assert parse_traverse_table(text, name="t") == [
        TraverseReading("X", -50.0, "+", -49.98, 1),
        TraverseReading("X", 0.0, "-", 0.02),
    ]
    comma = "axis;target_mm;approach;reading_mm\nZ;10;+;10,02\n"
    assert parse_traverse_table(comma, name="t") == [TraverseReading("Z", 10.0, "+", 10.02)]
    assert parse_bead_table(BEAD + "0.45,0.47,3.1\n0.55,0.56,\n", name="b") == [
        BeadReading(0.45, 0.47, 3.1),
        BeadReading(0.55, 0.56),
    ]
    assert parse_fit_table(FIT + "8.05,8,Refuses\n", name="f") == [FitReading(8.05, 8.0, "refuses")]


@pytest.mark.parametrize(
    ("parse", "head", "row", "column", "value"),
    [
        (parse_traverse_table, TRAVERSE, "E,0,+,0,", "axis", "E"),
        (parse_traverse_table, TRAVERSE, "X,nan,+,0,", "target_mm", "nan"),
        (parse_traverse_table, TRAVERSE, "X,0,up,0,", "approach", "up"),
        (parse_traverse_table, TRAVERSE, "X,0,+,inf,", "reading_mm", "inf"),
        (parse_traverse_table, TRAVERSE, "X,0,+,-99999,", "reading_mm", "-99999"),
        (parse_traverse_table, TRAVERSE, "X,0,+,0,1.5", "cycle", "1.5"),
        (parse_traverse_table, TRAVERSE, "X,0,+,0,0", "cycle", "0"),
        (parse_bead_table, BEAD, "0,0.5,", "drawn_width_mm", "0"),
        (parse_bead_table, BEAD, "0.45,45,", "reading_mm", "45"),
        (parse_bead_table, BEAD, "0.45,0.45,-3", "mass_g", "-3"),
        (parse_bead_table, BEAD, "0.45,,3", "reading_mm", "empty"),
        (parse_fit_table, FIT, "8.05,8,sticks", "outcome", "sticks"),
        (parse_fit_table, FIT, "80.5,8,turns", "drawn_mm", "80.5"),
        (parse_fit_table, FIT, "8.05,-8,turns", "gauge_mm", "-8"),
    ],
)
def test_their_errors_name_the_cell(parse, head, row, column, value) -> None:
    with pytest.raises(InputError) as caught:
        parse(head + row + "\n", name="t.csv")
    assert caught.value.where == f"t.csv, row 2, column {column}"
    assert value in caught.value.message
    assert caught.value.hint


def test_their_headers_are_checked() -> None:
    for parse in (parse_traverse_table, parse_bead_table, parse_fit_table):
        for text in ("", "colour\nred\n"):
            with pytest.raises(InputError) as caught:
                parse(text, name="t.csv")
            assert "t.csv" in (caught.value.where or "")
