"""A place has one number: on the drawing, in what is told of the piece, in the trial, in a file."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from asleft.controller.description import MachineDescription
from asleft.measure import parse_span_table
from asleft.pieces import BeadPiece, FitPiece, SpanPiece, write_piece
from asleft.trials import build
from asleft.trials.steps import Choose, Read, listing

SVG = "{http://www.w3.org/2000/svg}"


def on_the_drawing(file):
    """Numbers and drawn sizes of the table, from the top."""
    texts = list(ElementTree.parse(file).iter(f"{SVG}text"))  # noqa: S314 - our own text
    return tuple(
        [text.text for text in texts if text.get("class") == kind]
        for kind in ("row-label", "row-size")
    )


def in_the_trial(kind, piece, **more):
    """Numbers of what is asked for and of what `--list` shows, in their order."""
    steps = build(kind, {"piece": piece, **more}).steps
    asked = [s.place for s in steps if isinstance(s, (Read, Choose)) and s.place]
    shown = "\n".join(listing(steps, MachineDescription(name="workbench")))
    return asked, re.findall(r"^ *\d+  Place (\d+): ", shown, flags=re.MULTILINE)


@pytest.mark.parametrize("column", [(), (20.0, 60.0, 100.0)])
def test_the_numbers_of_a_span_piece_are_the_same_everywhere_and_in_one_order(tmp_path, column):
    piece = SpanPiece(pitch_mm=80.0, column_heights_mm=column)
    told = write_piece(piece, tmp_path)
    labels, sizes = on_the_drawing(told["files"]["drawing"])
    assert [row["label"] for row in told["readings"]] == labels
    assert [f"{row['nominal_mm']:.3f}" for row in told["readings"]] == sizes
    assert in_the_trial("span", piece) == (labels, labels)
    rows = [
        f"{row['direction']},{row['faces']},{row['nominal_mm']},{row['nominal_mm']},{row['label']}"
        for row in told["readings"]
    ]
    text = "\n".join(["direction,faces,nominal_mm,reading_mm,place", *rows])
    read = parse_span_table(text, name="read.csv")
    assert [reading.place for reading in read] == labels


def test_the_numbers_of_a_ring_are_the_same_everywhere_and_in_one_order(tmp_path):
    piece = BeadPiece()
    told = write_piece(piece, tmp_path)
    labels, sizes = on_the_drawing(told["files"]["drawing"])
    assert [row["label"] for row in told["readings"]] == labels
    assert [f"{row['nominal_mm']:.3f}" for row in told["readings"]] == sizes
    assert in_the_trial("bead", piece) == (labels, labels)


def test_the_numbers_of_a_fit_piece_are_those_on_its_tabs_and_in_the_trial(tmp_path):
    """The trial begins in the middle and halves what is left: its order is its own."""
    piece = FitPiece(parts="bores")
    told = write_piece(piece, tmp_path)
    labels, sizes = on_the_drawing(told["files"]["drawing"])
    assert [row["label"] for row in told["readings"]] == labels
    assert [f"{row['nominal_mm']:.2f}" for row in told["readings"]] == sizes
    asked, shown = in_the_trial("fit", piece)
    assert asked == shown and set(asked) == set(labels)
