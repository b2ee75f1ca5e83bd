"""The drawing, read as a picture: every place is on it once, legible, on one sheet, uncrowded."""

import itertools
import re
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, MultiPoint, Polygon

from asleft.pieces import SpanPiece
from asleft.pieces.drawing import drawing_svg

SVG = "{http://www.w3.org/2000/svg}"


def read(piece):
    return ElementTree.fromstring(drawing_svg(piece))  # noqa: S314 - our own text


def texts(root, kind):
    return [t.text for t in root.iter(f"{SVG}text") if t.get("class") == kind]


def polygons(root, kind):
    return [
        Polygon([tuple(map(float, p.split(","))) for p in shape.get("points").split()])
        for shape in root.iter(f"{SVG}polygon")
        if shape.get("class") == kind
    ]


pieces = st.builds(
    lambda pitch, column, mark: SpanPiece(pitch_mm=pitch, column_heights_mm=column, mark=mark),
    pitch=st.floats(45, 160),
    column=st.sampled_from([(), (30.0,), (12.0, 40.0), (7.0, 21.0, 35.0), (20.0, 60.0, 100.0)]),
    mark=st.sampled_from(["", "A<B"]),
)


@given(piece=pieces)
@settings(max_examples=25, deadline=None)
def test_labels_in_the_views_and_in_the_table_are_those_of_the_places(piece):
    root = read(piece)
    own = [p.label for p in piece.places()]
    in_views = [n for text in texts(root, "label") for n in re.findall(r"\d+", text)]
    assert sorted(in_views, key=int) == own
    assert texts(root, "row-label") == own
    assert texts(root, "row-size") == [f"{p.nominal_mm:.3f}" for p in piece.places()]
    drawn = {f"{p.nominal_mm:.2f}" for p in piece.places() if p.direction != "Z"}
    drawn |= {f"{p.nominal_mm:g}" for p in piece.places() if p.direction == "Z"}
    assert set(texts(root, "size")) == drawn


@given(piece=pieces)
@settings(max_examples=25, deadline=None)
def test_tags_lie_apart_and_everything_on_the_sheet(piece):
    root = read(piece)
    tags = polygons(root, "tag")
    jaws = polygons(root, "jaw-outside") + polygons(root, "jaw-inside")
    assert len(tags) == 12 + len(piece.column_heights_mm)
    for a, b in itertools.combinations(tags, 2):
        assert a.distance(b) > 0.5
    for a, b in itertools.combinations(jaws, 2):
        assert a.intersection(b).area < 1e-3
    for shape in tags + jaws:
        x0, y0, x1, y1 = shape.bounds
        assert 5 <= x0 <= x1 <= 205 and 5 <= y0 <= y1 <= 292


def test_each_tag_lies_on_the_dimension_line_of_its_own_places():
    piece = SpanPiece(column_heights_mm=())
    root = read(piece)
    lines = [
        LineString([[float(n.get(f"{axis}{end}")) for axis in "xy"] for end in (1, 2)])
        for n in root.iter(f"{SVG}line")
        if n.get("class") == "dimension"
    ]
    jaws = {f: polygons(root, f"jaw-{f}") for f in ("outside", "inside")}
    scale = max(line.length for line in lines) / max(p.nominal_mm for p in piece.places())
    by_label = {p.label: p for p in piece.places()}
    for tag, text in zip(polygons(root, "tag"), texts(root, "label"), strict=True):
        place = by_label[re.search(r"\d+", text)[0]]
        own = [line for line in lines if line.distance(tag.centroid) < 0.05]
        assert len(own) == 1, text
        assert own[0].length == pytest.approx(scale * place.nominal_mm, abs=0.05)
        (x0, y0), (x1, y1) = own[0].coords
        run, rise = abs(x1 - x0) > 1, abs(y1 - y0) > 1
        upwards = (x1 - x0) * (y1 - y0) < 0  # y runs downwards on paper
        assert (run, rise) == (place.direction != "Y", place.direction != "X")
        if place.direction.startswith("XY"):
            assert upwards == (place.direction == "XY+")
            ends = own[0].boundary.geoms
            near = [min(jaw.distance(end) for jaw in jaws[place.faces]) for end in ends]
            assert max(near) < 0.05
        # Front is below the middle of the plan, right is right of it.
        middle = MultiPoint([c for jaw in jaws[place.faces] for c in jaw.exterior.coords]).centroid
        sides = {
            "front": own[0].centroid.y - middle.y,
            "back": middle.y - own[0].centroid.y,
            "right": own[0].centroid.x - middle.x,
            "left": middle.x - own[0].centroid.x,
        }
        if not place.direction.startswith("XY"):
            assert sides[place.where.split()[0]] > 10


def test_jaws_touch_posts_and_do_not_enter_them():
    root = read(SpanPiece(column_heights_mm=()))
    posts = polygons(root, "post")
    outside, inside = polygons(root, "jaw-outside"), polygons(root, "jaw-inside")
    assert len(posts) == 8 and len(outside) == len(inside) == 12
    for jaw in outside + inside:
        near = min(posts, key=jaw.distance)
        assert jaw.distance(near) < 0.02
        assert jaw.intersection(near).area < 0.02


def test_one_page_black_and_white_and_type_that_can_be_read():
    content = drawing_svg(SpanPiece(mark="BENCH 3"))
    root = ElementTree.fromstring(content)  # noqa: S314 - our own text
    assert (root.get("width"), root.get("height")) == ("210mm", "297mm")
    assert root.get("viewBox") == "0 0 210 297"
    assert all(float(t.get("font-size")) >= 2.4 for t in root.iter(f"{SVG}text"))
    for colour in re.findall(r"#([0-9a-f]+)", content):
        assert len(set(colour)) == 1, "grey at most"
    words = " ".join(t.text for t in root.iter(f"{SVG}text"))
    for word in ("outside jaws", "inside jaws", "BENCH 3", "Hot parts burn", "read"):
        assert word in words
    assert "http" not in content.replace("http://www.w3.org/2000/svg", "")


def test_band_of_touch_is_that_of_the_piece():
    root = read(SpanPiece(column_heights_mm=()))
    x0, y0, x1, y1 = polygons(root, "band")[0].bounds
    assert y1 - y0 == pytest.approx(2 * (14 - 10), abs=0.02)
    assert x1 - x0 == pytest.approx(2 * 12, abs=0.02)
