"""The bead and the fit piece: places, solids read back by other libraries, drawings, refusals."""

from __future__ import annotations

import io
import json
import math
import re
from xml.etree import ElementTree

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from asleft.errors import InputError
from asleft.pieces import BeadPiece, FitPiece, fits, rib_mm
from asleft.pieces.path import PathSettings
from asleft.pieces.small_drawing import bead_drawing_svg, fit_drawing_svg
from asleft.pieces.solid import bodies
from asleft.pieces.stl import stl_bytes
from asleft.pieces.threemf import threemf_bytes

SVG = "{http://www.w3.org/2000/svg}"
PIECES = (BeadPiece(), FitPiece(tighter=1, wider=2), FitPiece(parts="bores", gauge_mm=25.0))

beads = st.builds(
    lambda flats, nozzle: BeadPiece.for_nozzle(nozzle, flats_mm=flats, layer_mm=0.1),
    flats=st.floats(25, 120),
    nozzle=st.sampled_from([0.25, 0.3, 0.4]),
)
fit_pieces = st.builds(
    lambda gauge, parts, beads: FitPiece(
        gauge_mm=gauge, parts=parts, wall_beads=beads, tighter=0, wider=1
    ),
    gauge=st.floats(3, 40),
    parts=st.sampled_from(["bores", "pins", "both"]),
    beads=st.sampled_from([4, 6]),
)


def read_stl(piece):
    return trimesh.load(io.BytesIO(stl_bytes(bodies(piece), "test")), file_type="stl")


@given(piece=st.one_of(beads, fit_pieces))
@settings(max_examples=12, deadline=None)
def test_every_piece_is_closed_and_looks_outwards_in_single_precision(piece):
    mesh = read_stl(piece)
    assert mesh.is_watertight and mesh.is_winding_consistent and mesh.volume > 0
    assert mesh.area_faces.min() > 0
    assert mesh.bounds[0][2] == 0
    assert mesh.bounds[1][2] == pytest.approx(piece.tallest_mm, abs=1e-4)


def test_corners_that_all_but_meet_leave_no_face_without_area():
    """Found by chance: a tab's corner 0.1 µm beside one of a disc, and a line of three corners."""
    piece = FitPiece(
        gauge_mm=9.990935052470974, tighter=1, wider=2, line_width_mm=0.322, layer_mm=0.1, columns=4
    )
    mesh = read_stl(piece)
    assert mesh.is_watertight and mesh.area_faces.min() > 0


@given(piece=beads)
@settings(max_examples=8, deadline=None)
def test_the_ring_holds_what_its_bands_hold(piece):
    """An octagon over flats a has the area 2·tan(22.5°)·a² (any table of figures)."""
    tan = 2 * math.tan(math.pi / 8)
    volume = sum(
        tan * ((piece.flats_mm + w) ** 2 - (piece.flats_mm - w) ** 2) * piece.band_mm
        for w in piece.widths_mm
    )
    assert read_stl(piece).volume == pytest.approx(volume, rel=5e-4)


def test_a_bore_passes_its_drawn_size_and_no_more_and_a_pin_fills_it():
    """Cut open: the nearest place of a bore's wall is its radius off, the farthest of a pin's."""
    piece = FitPiece(tighter=1, wider=1)
    sizes = [*piece.bores, *piece.pins]
    made = zip(bodies(piece), piece.centres_mm(), sizes, strict=True)
    for n, (mesh, (x, y), size) in enumerate(made):
        body = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False)
        z = 3.0 if n < len(piece.bores) else 5.0
        cut = trimesh.intersections.mesh_plane(body, [0, 0, 1], [0, 0, z])[:, :, :2]
        ends = cut.reshape(-1, 2) - [x, y]
        if z == 3.0:
            first, last = cut[:, 0] - [x, y], cut[:, 1] - [x, y]
            ways = last - first
            across = np.abs(first[:, 0] * ways[:, 1] - first[:, 1] * ways[:, 0])
            long = np.hypot(*ways.T) > 0.05
            off = across[long] / np.hypot(*ways[long].T)
            # The notch's own flats lie nearer to the bore's axis in front: sides count.
            sides = np.abs(first[long][:, 1]) < size / 3
            assert off[sides].min() == pytest.approx(size / 2, abs=1e-3)
        else:
            assert np.hypot(*ends.T).max() == pytest.approx(size / 2, abs=1e-3)


def test_collars_are_a_whole_number_of_beads_thick():
    piece = FitPiece(parts="bores")
    assert piece.collar_mm == pytest.approx(rib_mm(4, 0.45, 0.2))


@pytest.mark.parametrize("piece", PIECES)
def test_labels_count_up_and_stand_on_the_drawing_with_their_sizes(piece):
    is_bead = isinstance(piece, BeadPiece)
    root = ElementTree.fromstring(  # noqa: S314 - our own text
        bead_drawing_svg(piece) if is_bead else fit_drawing_svg(piece)
    )
    places = piece.places()
    assert [p.label for p in places] == [str(n) for n in range(1, len(places) + 1)]

    def texts(kind):
        return [t.text for t in root.iter(f"{SVG}text") if t.get("class") == kind]

    assert texts("row-label") == [p.label for p in places]
    digits = 3 if is_bead else 2
    assert texts("row-size") == [f"{p.nominal_mm:.{digits}f}" for p in places]
    shown = [n for text in texts("label") for n in re.findall(r"\d+", text)]
    assert sorted(shown, key=int) == [p.label for p in places]
    assert (root.get("width"), root.get("height")) == ("210mm", "297mm")
    assert all(float(t.get("font-size")) >= 2.4 for t in root.iter(f"{SVG}text"))
    assert all(0 < float(t.get("y")) < 292 for t in root.iter(f"{SVG}text"))
    words = " ".join(t.text for t in root.iter(f"{SVG}text"))
    assert "Hot parts burn" in words


def test_bores_and_pins_step_round_the_persons_part():
    piece = FitPiece(gauge_mm=6.0, tighter=1, wider=3)
    assert piece.bores == (5.95, 6.0, 6.05, 6.1, 6.15)
    assert piece.pins == (6.05, 6.0, 5.95, 5.9, 5.85)
    ways = [(p.direction, p.nominal_mm) for p in piece.places()]
    assert ways == [("hole", b) for b in piece.bores] + [("shaft", p) for p in piece.pins]


@pytest.mark.parametrize("piece", PIECES)
def test_parameters_survive_a_file_and_the_same_piece_gives_the_same_bytes(piece):
    values = json.loads(json.dumps(piece.to_dict()))
    again = type(piece).from_dict({**values, "of_a_later_version": 1})
    assert again == piece
    one, two = bodies(piece), bodies(again)
    assert stl_bytes(one, "a") == stl_bytes(two, "a")
    assert threemf_bytes(one, "a") == threemf_bytes(two, "a")


@pytest.mark.parametrize("piece", PIECES[:2])
def test_3mf_is_read_strictly_and_without_a_warning(piece, tmp_path):
    lib3mf = pytest.importorskip("lib3mf")
    path = tmp_path / "piece.3mf"
    path.write_bytes(threemf_bytes(bodies(piece), "small piece"))
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(path))
    assert reader.GetWarningCount() == 0
    objects = model.GetMeshObjects()
    while objects.MoveNext():
        assert objects.GetCurrentMeshObject().IsManifoldAndOriented()


@pytest.mark.parametrize(
    ("make", "would_do"),
    [
        (lambda: BeadPiece(widths_mm=(0.45, 0.55)), "fall"),
        (lambda: BeadPiece(flats_mm=10.0), "20 mm"),
        (lambda: BeadPiece(layer_mm=0.15), "layer of 0.16 mm"),
        (lambda: BeadPiece(layer_mm=float("nan")), "above 0"),
        (lambda: FitPiece(gauge_mm=1.0), "2 mm"),
        (lambda: FitPiece(gauge_mm=500.0), "100 mm"),
        (lambda: FitPiece(parts="holes"), "bores"),
        (lambda: FitPiece(layer_mm=0.18), "layer of 0.2 mm"),
        (lambda: FitPiece(wall_beads=5), "even"),
        (lambda: PathSettings(nozzle_c=290, bed_c=60), "260"),
        (lambda: PathSettings(nozzle_c=20, bed_c=60), "150"),
        (lambda: PathSettings(nozzle_c=200, bed_c=130), "110"),
    ],
)
def test_what_cannot_be_made_is_refused_with_what_would_do(make, would_do):
    with pytest.raises(InputError) as caught:
        make()
    assert would_do in caught.value.hint


def test_a_shaft_larger_than_the_bed_is_refused_and_the_hint_would_do():
    bed = {"bed_shape": "square", "travel_mm": (120.0, 120.0, 100.0)}
    with pytest.raises(InputError) as caught:
        FitPiece.for_machine(gauge_mm=60.0, **bed)
    shaft = float(re.search(r"shaft of ([\d.]+) mm", caught.value.hint)[1])
    piece = FitPiece.for_machine(gauge_mm=shaft, **bed)
    assert fits(piece, "square", bed["travel_mm"])
    with pytest.raises(InputError):
        FitPiece.for_machine(gauge_mm=shaft + 0.5, **bed)


@given(
    gauge=st.floats(2, 12),
    side=st.floats(120, 300),
    shape=st.sampled_from(["square", "round"]),
)
@settings(max_examples=5, deadline=None)
def test_all_bodies_lie_on_the_bed_and_apart(gauge, side, shape):
    try:
        piece = FitPiece.for_machine(
            bed_shape=shape, travel_mm=(side, side, 100.0), gauge_mm=gauge, wider=2
        )
    except InputError as error:
        assert any(sign.isdigit() for sign in error.hint)
        return
    boxes = sorted(mesh.bounds_mm for mesh in bodies(piece))
    for n, (low, high) in enumerate(boxes):
        for other_low, other_high in boxes[n + 1 :]:
            apart = [other_low[k] - high[k] > 1 or low[k] - other_high[k] > 1 for k in (0, 1)]
            assert any(apart)
