"""The figure that stands beside readings: every place of every piece is on it once."""

import re
from xml.etree import ElementTree

import pytest

from asleft.pieces import BeadPiece, FitPiece, SpanPiece
from asleft.pieces.figure import figure_svg, piece_of, places_of

SVG = "{http://www.w3.org/2000/svg}"
PIECES = (
    ("span", SpanPiece()),
    ("span", SpanPiece(pitch_mm=150.0, column_heights_mm=())),
    ("bead", BeadPiece()),
    ("fit", FitPiece(gauge_mm=8.0, parts="both")),
)


@pytest.mark.parametrize(("kind", "piece"), PIECES)
def test_every_place_stands_on_it_once_and_inside(kind, piece):
    root = ElementTree.fromstring(figure_svg(piece))  # noqa: S314 - our own text
    texts = [t for t in root.iter(f"{SVG}text") if t.get("class") == "label"]
    labels = [n for t in texts for n in re.findall(r"\d+", t.text)]
    assert sorted(labels, key=int) == [p.label for p in places_of(piece)]
    wide, high = (float(n) for n in root.get("viewBox").split()[2:])
    for shape in root.iter(f"{SVG}polygon"):
        for x, y in (map(float, at.split(",")) for at in shape.get("points").split()):
            assert 0 <= x <= wide and 0 <= y <= high
    for text in root.iter(f"{SVG}text"):
        assert 0 <= float(text.get("x")) <= wide and 0 <= float(text.get("y")) <= high


@pytest.mark.parametrize(("kind", "piece"), PIECES)
def test_drawn_again_from_its_parameters_it_is_the_same(kind, piece):
    assert figure_svg(piece_of(kind, piece.to_dict())) == figure_svg(piece)
