"""Without any cable: a pasted report, a piece read step by step, lines to copy, and what fits."""

from __future__ import annotations

import io
import zipfile

import pytest

from asleft.pieces import SpanPiece
from asleft.practice.hands import Hands

from .conftest import Served, Visitor, wait_for

REPORT = """echo:; Steps per unit:
echo: M92 X80.00 Y80.00 Z400.00 E93.00
echo:; Skew:
echo: M852 I0.000000
ok
"""


@pytest.fixture(scope="module")
def opened(tmp_path_factory):
    served = Served("open", "--page-port", "0", home=tmp_path_factory.mktemp("paper") / "home")
    yield served
    served.end()


@pytest.fixture
def visitor(opened, request):
    """At a machine of the test's own."""
    visitor = Visitor(opened.address).get("/")
    visitor.machine = f"/m/{request.node.name}"
    return visitor.press(
        "/machine", name=request.node.name, travel_x="220", travel_y="220", travel_z="240"
    )


def test_from_a_pasted_report_to_lines_to_copy(visitor):
    """The readings are those of a practice piece whose machine has no line to the page."""
    assert "no port" in visitor.text
    visitor.press("/pasted", report="nothing of use")
    assert visitor.status == 409 and "M92" in visitor.text
    visitor.get(f"{visitor.machine}/before").press("/pasted", report=REPORT)
    assert "Kept last: state 1" in visitor.text
    with Hands(7, "cartesian", 2000.0) as hands:
        visitor.get(f"{visitor.machine}/evening").press("/do/trial")
        while "span.1." not in (
            step := wait_for(lambda: visitor.get(f"{visitor.machine}/now").step())
        ):
            if step.endswith("span.print"):
                _print(visitor, hands)
            visitor.press("/answer", ("answer", "yes"))
        visitor.press("/answer", value="1,234.5")
        assert "not a number" in visitor.text and visitor.step() == step
        visitor.press("/answer", value="-3")
        assert "impossible here" in visitor.text
        _read_all(visitor, hands)
    assert "Printed scale X: " in visitor.text and "95 times of 100" in visitor.text
    finding = visitor.get(f"{visitor.machine}/finding").text
    assert "%" in finding and "mm" in finding
    visitor.get(f"{visitor.machine}/change").press("/do/set")
    wait_for(lambda: "handed over" in visitor.get(f"{visitor.machine}/change").text)
    assert "M92 X80." in visitor.text and "To enter by hand" in visitor.text


def _print(visitor: Visitor, hands: Hands) -> None:
    """Take the files that the step offers, and print the tool path from the card."""
    asked = "piece.zip?nozzle_c=205&bed_c=55"
    packed = zipfile.ZipFile(io.BytesIO(visitor.client.get(f"{visitor.machine}/{asked}").content))
    assert {"span.stl", "span.3mf", "span-drawing.svg"} < set(packed.namelist())
    text = packed.read("span.gcode").decode()
    hands.ask("print", piece="span", parameters=SpanPiece().to_dict(), text=text)


def _read_all(visitor: Visitor, hands: Hands) -> None:
    """Read every place with the practice caliper, the first one in inches."""
    for place in SpanPiece().places():
        columns = {"direction": place.direction, "faces": place.faces}
        said = hands.ask("measure", label=place.label, nominal_mm=place.nominal_mm, **columns)
        text = said["text"]
        assert visitor.step().endswith(f"span.1.{place.label}")
        visitor.press(
            "/answer", value=f"{float(text) / 25.4:.5f} in" if place.label == "1" else text
        )
    wait_for(lambda: "done" in visitor.get(f"{visitor.machine}/now").text)


def test_typed_steps_and_readings_in_rows(visitor):
    visitor.press("/pasted", steps="X=80, Y=80, Z=400, E=93")
    assert "Kept last" in visitor.text
    rows = "marked_mm,remaining_mm,commanded_mm\n" + "120,23.7,100\n" * 4
    visitor.get(f"{visitor.machine}/evening")
    visitor.press("/pasted", kind="feed", temperature_c="205", readings=rows)
    assert "The extruder feeds" in visitor.text and "too little" in visitor.text


def test_what_was_replaced_leads_to_what_it_undid(visitor):
    visitor.get(f"{visitor.machine}/evening?door=replaced").press("/do/event", kind="belt")
    assert "belt or pulley" in visitor.text and "Print a piece with posts" in visitor.text
    assert "belt or pulley" in visitor.get("/").text


def test_what_is_said_of_the_evening_stands_in_its_record(visitor):
    visitor.get(f"{visitor.machine}/before")
    assert "nobody remembers which" in visitor.text
    visitor.press("/pasted", report=REPORT)
    visitor.press("/conditions", room_c="24,5", room_u_c="1", spool="grey, bought in March")
    assert "Noted for this evening" in visitor.text
    record = visitor.client.get(f"{visitor.machine}/record.json").json()
    said = {"room_c": 24.5, "room_u_c": 1.0, "spool": "grey, bought in March"}
    assert record["conditions"] == said
    visitor.press("/conditions")  # as it stands there: nothing new is kept
    assert len(visitor.client.get(f"{visitor.machine}/record.json").json()["conditions_said"]) == 1
    visitor.press("/conditions", room_c="245")
    assert visitor.status == 409 and "impossible here" in visitor.text
