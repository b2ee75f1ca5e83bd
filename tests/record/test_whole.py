"""The parts of a record that are not figures: the digest of all, drawings, order, words."""

from __future__ import annotations

import copy
import json
import re
import subprocess
from collections.abc import Iterator
from typing import Any

import pytest

from asleft.pieces import FitPiece, SpanPiece
from asleft.pieces.figure import figure_svg
from asleft.record import Store, assemble, to_pdf
from asleft.record.digests import digest_of_all
from asleft.record.document import in_home
from asleft.record.drawings import drawings
from asleft.record.sheet import sheet
from asleft.record.write import readings_csv

POINT = {
    "level": 0.1123,
    "u": 0.0121,
    "low": -0.0489,
    "high": 0.2887,
    "ewma": 0.11,
    "outside": False,
}
SERIES = {
    "trial": "traverse", "name": "reversal", "axis": "X", "plane": None, "unit": "mm",
    "tolerance": None, "call": "steady", "why": "Nobody moved it",
    "points": [
        {**POINT, "at": "2025-03-14T18:00:00Z"},
        {**POINT, "at": "2026-03-14T18:00:00Z", "level": 0.1308},
    ],
}  # fmt: skip


@pytest.fixture
def document(calibrated: tuple[Store, int]) -> dict[str, Any]:
    return assemble(*calibrated, versions={"asleft": "0.2.0"})


def leaves(value: Any, way: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    if isinstance(value, dict) and value:
        for key, each in value.items():
            yield from leaves(each, (*way, key))
    elif isinstance(value, list) and value:
        for number, each in enumerate(value):
            yield from leaves(each, (*way, number))
    else:
        yield way


def test_the_digest_of_all_feels_every_single_value(document: dict[str, Any]) -> None:
    told = document["record_sha256"]
    assert told == digest_of_all(json.loads(json.dumps(document)))
    ways = [way for way in leaves(document) if way != ("record_sha256",)]
    assert {way[0] for way in ways} == set(document) - {"record_sha256"}
    for *way, last in ways[::3]:
        inner: Any = document
        for key in way:
            inner = inner[key]
        kept = inner[last]
        inner[last] = "altered"
        assert digest_of_all(document) != told, (*way, last)
        inner[last] = kept
    assert digest_of_all(document) == told


def reading(place: Any) -> dict[str, Any]:
    about = {"place": place.label, "direction": place.direction, "nominal_mm": place.nominal_mm}
    return {"place": about, "value": place.nominal_mm}


def trial(number: int, kind: str, piece: Any, readings: list[dict[str, Any]]) -> dict[str, Any]:
    parameters = {"trial": {"piece": piece.to_dict()}}
    return {"id": number, "kind": kind, "parameters": parameters, "readings": readings}


def test_a_piece_is_drawn_once_for_all_that_was_read_on_it() -> None:
    piece, other = SpanPiece(), SpanPiece(pitch_mm=80.0)
    own = [reading(place) for place in piece.places()]
    found = drawings(
        [
            trial(1, "span", piece, own),
            trial(2, "span", piece, own[8:12]),
            trial(3, "proof", piece, own),
            trial(4, "span", other, [reading(place) for place in other.places()]),
            trial(5, "span", other, []),
            {"id": 6, "kind": "feed", "parameters": {"trial": {}}, "readings": own},
        ]
    )
    assert [each["trials"] for each in found] == [[1, 2, 3], [4]]
    assert all(each["reason"] is None for each in found)
    labels = re.findall(r'class="label">([^<]*)<', found[0]["svg"])
    numbers = {n for label in labels for n in re.findall(r"\d+", label)}
    assert numbers == {place.label for place in piece.places()}


@pytest.mark.parametrize("change", [{"place": "99"}, {"nominal_mm": 60.0}, {"direction": "Z"}])
def test_readings_of_another_piece_get_no_drawing_and_a_reason(change: dict[str, Any]) -> None:
    piece = SpanPiece()
    own = [reading(place) for place in piece.places()]
    own[0]["place"] |= change
    (found,) = drawings([trial(1, "span", piece, own)])
    assert found["svg"] is None and "of the piece's own" in found["reason"]


def test_tries_name_bodies_and_a_mass_has_no_place() -> None:
    piece = FitPiece(gauge_mm=8.0, parts="bores")
    tries = [
        {"place": {"label": p.label, "outcome": "turns"}, "value": p.nominal_mm}
        for p in piece.places()
    ]
    weighed = {"place": {"weighed": True}, "value": 1.2}
    assert drawings([trial(1, "fit", piece, [*tries, weighed])])[0]["svg"]


def blocks(document: dict[str, Any], kind: str) -> list[dict[str, Any]]:
    return [
        b for section in sheet(document)["sections"] for b in section["blocks"] if b["kind"] == kind
    ]


def test_an_older_record_prints_without_what_it_has_not(document: dict[str, Any]) -> None:
    for key in (
        "drawings", "years", "record_sha256", "conditions_said", "conditions_not_said",
        "room_effect", "decision_rule",
    ):  # fmt: skip
        del document[key]
    text = json.dumps(sheet(document))
    assert "without looking at the machine's years" in text
    assert "it is older than this digest" in text
    assert to_pdf(document).startswith(b"%PDF-")


def test_settings_of_which_the_same_is_said_stand_together(document: dict[str, Any]) -> None:
    proposal = next(p for p in document["proposals"] if p["axis"] == "X")
    before = len(blocks(document, "verdict"))
    document["proposals"] += [{**copy.deepcopy(proposal), "axis": axis} for axis in ("Y", "Z")]
    document["proposals"][-1]["u"] = 0.02
    shown = [each["what"] for each in blocks(document, "verdict")]
    assert "X, Y steps per mm" in shown and shown.count("Z steps per mm") >= 1
    assert len(shown) == before + 1


def test_units_that_a_report_does_not_tell_are_not_made_up(document: dict[str, Any]) -> None:
    for state, more in (("as_found", 0.0), ("as_left", 1.0)):
        document[state]["parsed"]["delta"] = {
            "L": 215.0 + more, "R": 105.0, "S": 100.0 + more, "tower_X": 0.1, "trim_X": 0.2 + more,
        }  # fmt: skip
    compared = blocks(document, "table")[0]["rows"]
    shown = {row[0]: row[1] for row in compared}
    assert shown["L"] == "215\u00a0mm" and shown["trim X"] == "0.2\u00a0mm"
    assert shown["S"] == "100\u00a0as printed"
    assert "tower X" not in shown  # nobody changed it: it stands in the report


@pytest.mark.parametrize("home", ["/home/somebody/x", "C:\\Users\\somebody\\x", "."])
def test_where_the_home_was_is_nobodys_business(home: str) -> None:
    slash = "\\" if "\\" in home else "/"
    assert in_home(slash.join((home, "wire", "a.log"))) == "wire/a.log"


def test_the_room_stands_on_paper_with_its_doubt(calibrated: tuple[Store, int]) -> None:
    document = assemble(*calibrated, versions={})
    text = json.dumps(sheet(document), ensure_ascii=False)
    assert "21.5\u00a0°C" in text and "apprentice at the second bench" in text
    # 1.5 K at 58.5 millionths a kelvin
    assert "+0.009\u00a0% of scale (the uncertainty of the room's temperature was not" in text
    document["room_effect"] |= {"scale": 2.925e-4, "scale_u": 5.85e-5, "departure_k": 5.0}
    text = json.dumps(sheet(document), ensure_ascii=False)
    assert "+5.0\u00a0K" in text and "+0.0293\u00a0% of scale (standard uncertainty 0.0059" in text


@pytest.mark.system("pdftotext")
def test_drawing_and_years_are_on_paper(document: dict[str, Any]) -> None:
    """Each text of the drawing, and each value of a quantity over the years, in a PDF's text."""
    piece = SpanPiece()
    document["drawings"] = [
        {"trials": [2], "piece": "span", "svg": figure_svg(piece), "reason": None}
    ]
    document["years"] = {"at": "", "events": [], "reason": None, "series": [SERIES]}
    pdf = to_pdf(document)
    done = subprocess.run(
        ["pdftotext", "-raw", "-", "-"], input=pdf, capture_output=True, check=True
    )
    paper = re.sub(r"\s", "", done.stdout.decode())
    for text in re.findall(r"<text[^>]*>([^<]*)<", figure_svg(piece)):
        assert re.sub(r"\s", "", text) in paper, text
    for shown in ("+0.112", "+0.131", "−0.049", "+0.289", "Nobodymovedit", "reversalX,traverse"):
        assert shown in paper


def test_what_was_broken_off_is_said_first(store: Store, fill: Any) -> None:
    fill(store)
    machine = store.machines()[0].id
    number = store.open_calibration(machine, versions={}, person=None, conditions={})
    piece = SpanPiece()
    trial_id = store.start_trial(
        number, "span", parameters={"trial": {"piece": piece.to_dict()}}, steps=["span.1.1"],
        kept_id=None, instrument={}, making={},
    )  # fmt: skip
    first = piece.places()[0]
    store.add_reading(
        trial_id, key="span.1.1", place=reading(first)["place"], value=106.9, raw="106.9", unit="mm"
    )
    document = assemble(store, number, versions={})
    result = json.dumps(sheet(document)["sections"][0])
    assert f"Trial {trial_id}, span: unfinished." in result and "still open" in result
    assert document["drawings"][0]["trials"] == [trial_id]
    assert b"106.9" in readings_csv(document) and to_pdf(document).startswith(b"%PDF-")
