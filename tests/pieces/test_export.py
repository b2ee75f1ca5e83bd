"""The files of a piece: what is told about them is so, nothing is replaced unasked."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
import trimesh

from asleft.errors import InputError, RefusedError
from asleft.pieces import SpanPiece, write_piece


def test_files_and_what_is_said_of_them_agree(tmp_path):
    piece = SpanPiece(pitch_mm=60.0, mark="7")
    told = write_piece(piece, tmp_path / "new" / "piece")
    assert told == json.loads(json.dumps(told)), "plain JSON values"
    assert told["schema"] == "asleft.piece/1"
    assert set(told["files"]) == {"drawing", "stl", "3mf"}
    assert sorted(p.name for p in (tmp_path / "new" / "piece").iterdir()) == sorted(
        Path(p).name for p in told["files"].values()
    )
    mesh = trimesh.load(told["files"]["stl"])
    assert mesh.bounds.tolist() == [
        pytest.approx(told["bounds_mm"]["low"], abs=1e-4),
        pytest.approx(told["bounds_mm"]["high"], abs=1e-4),
    ]
    assert mesh.volume / 1000 * 1.24 > told["grams"] > 0
    assert SpanPiece.from_dict(told["parameters"]) == piece
    assert [r["label"] for r in told["readings"]] == [p.label for p in piece.places()]
    assert told["stiffness"]["basis"].startswith("computed")
    assert told["cost"]["basis"].startswith("estimated")


def test_a_file_that_is_there_stays_unless_told_otherwise(tmp_path):
    (tmp_path / "span.stl").write_text("kept")
    with pytest.raises(RefusedError) as caught:
        write_piece(SpanPiece(), tmp_path)
    assert caught.value.exit_status == 2 and "span.stl" in caught.value.message
    assert [p.name for p in tmp_path.iterdir()] == ["span.stl"]
    assert (tmp_path / "span.stl").read_text() == "kept"
    write_piece(SpanPiece(), tmp_path, force=True)
    assert (tmp_path / "span.stl").read_bytes() != b"kept"


def test_a_directory_that_cannot_be_written_is_named(tmp_path):
    in_the_way = tmp_path / "file"
    in_the_way.write_text("")
    with pytest.raises(InputError) as caught:
        write_piece(SpanPiece(), in_the_way)
    assert caught.value.where == str(in_the_way)


def test_same_piece_same_bytes_in_another_process(tmp_path):
    write_piece(SpanPiece(), tmp_path / "a")
    program = (
        "import sys, pathlib; from asleft.pieces import SpanPiece, write_piece;"
        "write_piece(SpanPiece(), pathlib.Path(sys.argv[1]))"
    )
    environment = {**os.environ, "PYTHONHASHSEED": "7"}
    subprocess.run(
        [sys.executable, "-c", program, str(tmp_path / "b")], check=True, env=environment
    )
    for path in (tmp_path / "a").iterdir():
        assert path.read_bytes() == (tmp_path / "b" / path.name).read_bytes(), path.name


def test_places_and_drawing_start_without_the_library_for_solids():
    program = (
        "import sys, asleft.pieces as p; p.SpanPiece().places();"
        "import asleft.pieces.drawing as d; d.drawing_svg(p.SpanPiece());"
        "print(sorted({'manifold3d', 'scipy', 'numpy'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], check=True, capture_output=True, text=True
    )
    assert done.stdout.strip() == "[]"
