"""The solid itself, read back by independent libraries: closed, true to size, right way up."""

import io
import math
import re

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString
from shapely.affinity import rotate, scale
from shapely.ops import polygonize, unary_union

from asleft.errors import BugError, InputError
from asleft.pieces import SpanPiece
from asleft.pieces.mesh import welded
from asleft.pieces.solid import bodies, mark_room
from asleft.pieces.stl import stl_bytes
from asleft.pieces.threemf import threemf_bytes

DIRECTIONS = {
    "X": (1.0, 0.0),
    "Y": (0.0, 1.0),
    "XY+": (math.sqrt(0.5), math.sqrt(0.5)),
    "XY-": (-math.sqrt(0.5), math.sqrt(0.5)),
}
CORNERS = {"left": (0, -1), "right": (0, 1), "front": (1, -1), "back": (1, 1)}

pieces = st.builds(
    lambda pitch, post, sides, cross, column, mark: SpanPiece(
        pitch_mm=pitch,
        post_mm=post,
        side_beads=sides,
        diagonal_beads=cross,
        column_heights_mm=column,
        mark=mark,
    ),
    pitch=st.floats(62, 160),
    post=st.floats(11, 20),
    sides=st.integers(1, 8),
    cross=st.integers(1, 8),
    column=st.sampled_from([(), (30.0,), (12.0, 40.0), (20.0, 60.0, 100.0)]),
    mark=st.sampled_from(["", "B", "7-"]),
)


def read_stl(content):
    return trimesh.load(io.BytesIO(content), file_type="stl")


def whole(piece):
    return read_stl(stl_bytes(bodies(piece), "test"))


@given(piece=pieces.filter(lambda p: p.rib_mm(8) <= p.flat_mm))
@settings(max_examples=25, deadline=None)
def test_every_piece_is_closed_and_looks_outwards_in_single_precision(piece):
    mesh = whole(piece)
    assert mesh.is_watertight and mesh.is_winding_consistent
    assert mesh.volume > 0
    assert mesh.area_faces.min() > 0
    assert mesh.body_count == (2 if piece.column_heights_mm else 1)
    assert mesh.bounds[0][2] == 0


def selected(points, where):
    """Points of the posts that a place's words name: 'front posts', 'front left and back …'."""
    named = where.split(" posts")[0].split(" and ")
    groups = []
    for words in named:
        chosen = np.ones(len(points), dtype=bool)
        for word in words.split():
            axis, sign = CORNERS[word]
            chosen &= points[:, axis] * sign > 0
        groups.append(points[chosen])
    return np.concatenate(groups)


@given(piece=pieces.filter(lambda p: p.rib_mm(8) <= p.flat_mm))
@settings(max_examples=15, deadline=None)
def test_every_drawn_size_is_found_again_by_cutting_the_solid_at_the_jaws(piece):
    span = bodies(piece)[0]
    mesh = trimesh.Trimesh(span.vertices_mm, span.faces, process=False)
    cut = trimesh.intersections.mesh_plane(mesh, [0, 0, 1], [0, 0, 11])[:, :, :2].reshape(-1, 2)
    # What stands between the posts is a raised rib, out of the jaws' way.
    cut = cut[(abs(abs(cut) - piece.pitch_mm / 2) < piece.post_mm / 2 + 5).all(axis=1)]
    for place in piece.places():
        if place.direction == "Z":
            continue
        along = selected(cut, place.where) @ np.array(DIRECTIONS[place.direction])
        if place.faces == "outside":
            size = along.max() - along.min()
        else:
            size = along[along > 0].min() - along[along < 0].max()
        assert size == pytest.approx(place.nominal_mm, abs=3e-4), place


def test_the_jaws_meet_flats_and_not_corners():
    piece = SpanPiece()
    span = bodies(piece)[0]
    mesh = trimesh.Trimesh(span.vertices_mm, span.faces, process=False)
    cut = trimesh.intersections.mesh_plane(mesh, [0, 0, 1], [0, 0, 11])[:, :, :2]
    for direction in DIRECTIONS.values():
        n = np.array(direction)
        far = (cut @ n).max()
        on = cut[(np.abs(cut @ n - far) < 1e-3).all(axis=1)]
        length = np.linalg.norm(on[:, 0] - on[:, 1], axis=1).sum()
        faces_there = 1 if abs(n[0] * n[1]) > 0.1 else 2
        # A regular octagon of width w over flats has sides of w·tan(22.5°).
        assert length == pytest.approx(faces_there * 12 * math.tan(math.pi / 8), abs=1e-3)


def test_heights_of_the_column_are_level_lands_wide_enough_for_a_jaw():
    piece = SpanPiece()
    column = bodies(piece)[1]
    mesh = trimesh.Trimesh(column.vertices_mm, column.faces, process=False)
    up = mesh.face_normals[:, 2] > 0.999
    lands = {}
    for face, area in zip(np.flatnonzero(up), mesh.area_faces[up], strict=True):
        z = round(float(mesh.triangles[face][:, 2].mean()), 4)
        lands[z] = lands.get(z, 0.0) + area
    drawn = sorted({p.nominal_mm for p in piece.places() if p.direction == "Z"})
    assert sorted(lands) == drawn
    assert all(area >= 8 * 12 - 0.01 for area in lands.values())
    assert mesh.bounds[0][0] > piece.pitch_mm / 2 + piece.post_mm / 2, "outside the square"


def area_at(mesh, z):
    """Area of a level cut that is one outline with holes, or several without."""
    cut = trimesh.intersections.mesh_plane(mesh, [0, 0, 1], [0, 0, z])[:, :, :2]
    rings = list(polygonize([LineString(piece) for piece in np.round(cut, 4)]))
    holed = [ring for ring in rings if ring.interiors]
    return sum(ring.area for ring in holed or rings)


def test_volume_is_that_of_the_figures_it_is_made_of():
    """Posts, ribs and their chamfered feet by plane geometry; what is left are the plates."""
    piece = SpanPiece(column_heights_mm=())
    P, w, tan = 95.0, 12.0, math.tan(math.pi / 8)
    # Stadium beads 0.45 by 0.2 lie 0.45 − 0.2·(1 − π/4) apart: four at the ends, two between.
    apart = 0.45 - 0.2 * (1 - math.pi / 4)
    wide, slim = 0.45 + 3 * apart, 0.45 + apart
    octagon = 2 * tan * w**2
    # Low for 18 mm from a post's centre, of which the post itself takes 6.
    ends = (8 + 4) * 12 * wide
    middles = (4 * (P - 36) + 2 * (P * math.sqrt(2) - 36)) * slim - slim**2
    span = bodies(piece)[0]
    mesh = trimesh.Trimesh(span.vertices_mm, span.faces, process=False)
    assert area_at(mesh, 11.0) == pytest.approx(4 * octagon + middles, rel=1e-4)
    assert area_at(mesh, 5.0) == pytest.approx(4 * octagon + ends + middles, rel=1e-4)
    # A foot between octagons of widths w − 1 and w, 1 mm high (prismoidal formula).
    back = w - 1
    foot = octagon * (back**2 + back * w + w**2) / w**2 / 3
    # Where feet stand back, rib ends show: wedges 0.5 deep above nothing, 1 mm high.
    wedges = 12 * wide * 0.5 / 2
    plain = 4 * (foot + 14 * octagon) + 9 * ends + 15 * middles + wedges
    plates = span.volume_mm3 - plain
    depth = 8.0  # letters of 5 mm with 1 mm above and 2 mm below; the half rib comes on top
    ground = 2 * (2 * 4.2 + 2) * depth * 1.2
    assert ground * 0.95 < plates < ground + 4 * 4 * 5 * 0.6


def test_marks_stay_below_the_jaws_and_off_the_measured_faces():
    bare = SpanPiece(column_heights_mm=())
    marked = SpanPiece(column_heights_mm=(), mark="3-")
    a, b = bodies(bare)[0], bodies(marked)[0]
    for name, body in (("bare", a), ("marked", b)):
        mesh = trimesh.Trimesh(body.vertices_mm, body.faces, process=False)
        cut = trimesh.intersections.mesh_plane(mesh, [0, 0, 1], [0, 0, 5]).reshape(-1, 3)
        assert len(cut), name
    above = [v[v[:, 2] > 2].tolist() for v in (a.vertices_mm, b.vertices_mm)]
    assert above[0] == above[1]
    assert b.volume_mm3 > a.volume_mm3 + 50


def test_arrows_on_the_raised_letters_point_to_plus():
    """A letter is 5 mm high and comes first; the arrow after it is lower."""
    span = bodies(SpanPiece(column_heights_mm=()))[0]
    top = span.vertices_mm[np.abs(span.vertices_mm[:, 2] - 1.8) < 1e-6]
    front, right = top[top[:, 1] < -35], top[top[:, 0] > 35]
    assert len(front) + len(right) == len(top) and len(front) > 10 and len(right) > 10
    for letters, along, across in ((front, 0, 1), (right, 1, 0)):
        middle = (letters[:, along].min() + letters[:, along].max()) / 2
        first = letters[letters[:, along] < middle][:, across]
        last = letters[letters[:, along] > middle][:, across]
        assert np.ptp(first) > 5 > 4 > np.ptp(last) > 2


def test_ribs_lie_alike_under_every_turn_of_the_square():
    span = bodies(SpanPiece(column_heights_mm=()))[0]
    mesh = trimesh.Trimesh(span.vertices_mm, span.faces, process=False)
    cut = trimesh.intersections.mesh_plane(mesh, [0, 0, 1], [0, 0, 5])[:, :, :2]
    rings = unary_union([LineString(piece) for piece in np.round(cut, 4)])
    for image in (rotate(rings, 90, origin=(0, 0)), scale(rings, -1, 1, origin=(0, 0))):
        assert image.hausdorff_distance(rings) < 1e-3


def test_a_mirrored_or_turned_piece_would_be_seen():
    """The letters make it unlike itself under every turn and mirroring of the square."""
    span = bodies(SpanPiece(column_heights_mm=()))[0]
    low = span.vertices_mm[np.abs(span.vertices_mm[:, 2] - 1.8) < 1e-6][:, :2]
    assert len(low) > 20
    own = {tuple(p) for p in np.round(low, 2).tolist()}
    for turn in range(4):
        for mirror in (1, -1):
            if (turn, mirror) == (0, 1):
                continue
            c, s = math.cos(turn * math.pi / 2), math.sin(turn * math.pi / 2)
            image = low * [mirror, 1] @ np.array([[c, s], [-s, c]])
            other = {tuple(p) for p in np.round(image, 2).tolist()}
            assert len(own & other) < 0.5 * len(own)


@pytest.mark.parametrize("mark", ["Ω", "A" * 40])
def test_a_mark_that_cannot_be_raised_is_refused(mark):
    with pytest.raises(InputError, match="cannot be raised") as caught:
        bodies(SpanPiece(mark=mark))
    assert re.search(r"\d+", caught.value.hint)
    bodies(SpanPiece(mark="A" * mark_room(SpanPiece())))


def test_3mf_is_read_strictly_and_without_a_warning(tmp_path):
    lib3mf = pytest.importorskip("lib3mf")
    piece = SpanPiece(mark="A/B-1")
    made = bodies(piece)
    path = tmp_path / "span.3mf"
    path.write_bytes(threemf_bytes(made, "span piece <95 & up>"))
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(path))
    assert reader.GetWarningCount() == 0
    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    objects = model.GetMeshObjects()
    seen = []
    while objects.MoveNext():
        item = objects.GetCurrentMeshObject()
        assert item.IsManifoldAndOriented()
        seen.append((item.GetName(), item.GetVertexCount(), item.GetTriangleCount()))
    assert seen == [(b.name, len(b.vertices_mm), len(b.faces)) for b in made]
    items = model.GetBuildItems()
    assert items.Count() == len(made)


def test_normals_in_the_stl_look_the_way_its_corners_turn():
    content = stl_bytes(bodies(SpanPiece()), "test")
    record = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("rest", "<u2")])
    rows = np.frombuffer(content, dtype=record, offset=84)
    assert int.from_bytes(content[80:84], "little") == len(rows)
    a, b, c = (rows["corners"][:, k].astype(float) for k in range(3))
    turned = np.cross(b - a, c - a)
    turned /= np.linalg.norm(turned, axis=1, keepdims=True)
    assert (np.einsum("ij,ij->i", turned, rows["normal"]) > 0.99).all()


def test_faces_that_fall_onto_a_line_are_divided_and_the_mesh_stays_closed():
    """A box whose one edge carries a corner 10⁻⁸ mm beside it: three corners in a line."""
    corners = [[0, 0, 0], [4, 0, 0], [0, 4, 0], [0, 0, 4], [2, 1e-8, 0]]
    faces = [[0, 2, 1], [0, 1, 4], [0, 4, 3], [4, 1, 3], [1, 2, 3], [2, 0, 3]]
    mesh = welded("test", corners, faces)
    shape = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False)
    assert shape.is_watertight and shape.is_winding_consistent
    assert shape.area_faces.min() > 0.1
    assert mesh.volume_mm3 == pytest.approx(4**3 / 6)


def test_an_open_mesh_is_our_own_fault():
    with pytest.raises(BugError):
        welded("test", np.eye(3), [[0, 1, 2]])


def test_the_same_piece_gives_the_same_bytes():
    one, two = bodies(SpanPiece(mark="7")), bodies(SpanPiece(mark="7"))
    assert stl_bytes(one, "a") == stl_bytes(two, "a")
    assert threemf_bytes(one, "a") == threemf_bytes(two, "a")
    assert not stl_bytes(one, "span").startswith(b"solid")
