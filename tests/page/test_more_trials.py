"""Traverse, bead and fit, undo, restore and history through the page, by plain forms."""

from __future__ import annotations

import json
from urllib.parse import quote

import pytest

from .conftest import Visitor, wait_for

MACHINE = "/m/" + quote("practice cartesian 7", safe="")


@pytest.fixture
def visitor(serve):
    """At a practice page whose machine is kept as found."""
    served = serve("practice", "--seed", "7", "--speed", "2000", "--page-port", "0")
    visitor = Visitor(served.address).get(f"{MACHINE}/before").press("/do/found")
    wait_for(lambda: "On to this evening" in visitor.get(f"{MACHINE}/now").text)
    return visitor


def through(visitor: Visitor) -> list[str]:
    """Answer every step as the practice hands would, until the job is done; the steps' keys."""
    keys = []
    while "See what was found" not in visitor.get(f"{MACHINE}/now").text:
        assert "/do/go-on" not in visitor.html, visitor.text
        step = visitor.step()
        if step is None:
            continue
        keys.append(step)
        form = visitor.form("/answer")
        if "value" in form.names:
            visitor.press("/answer", value=visitor.shown)
        elif ("answer", "yes") in form.buttons:
            visitor.press("/answer", ("answer", "yes"))
        elif ("answer", visitor.shown) in form.buttons:
            visitor.press("/answer", ("answer", visitor.shown))
        else:
            visitor.press("/answer", form.buttons[0])
    return keys


def begin(visitor: Visitor, trial: str, **more: str) -> list[str]:
    visitor.get(f"{MACHINE}/evening").press("/do/evening", trials=trial, **more)
    return through(visitor)


def record(visitor: Visitor) -> dict:
    return json.loads(visitor.client.get(f"{MACHINE}/record.json").content)


def test_a_traverse_shows_both_ways_and_its_numbers(visitor):
    keys = begin(visitor, "traverse", along="Y")
    assert any(".traverse." in key for key in keys)
    finding = visitor.get(f"{MACHINE}/finding")
    (trial,) = record(visitor)["trials"]
    assert (trial["kind"], trial["outcome"]) == ("traverse", "done")
    assert 'class="way"' in finding.html and 'class="back"' in finding.html
    assert "from above" in finding.text and "reversal" in finding.text
    # one row of the table for each reading that counts
    assert finding.html.count("<td>from below</td>") == len(trial["readings"]) / 2


def test_a_bead_and_a_fit_are_led_to_their_finding(visitor):
    begin(visitor, "bead")
    begin(visitor, "fit", gauge_mm="8", parts="bores")
    kinds = {trial["kind"]: trial for trial in record(visitor)["trials"]}
    assert {kinds["bead"]["outcome"], kinds["fit"]["outcome"]} == {"done"}
    assert {row["place"]["outcome"] for row in kinds["fit"]["readings"]} > {"turns"}
    finding = visitor.get(f"{MACHINE}/finding").text
    assert "Bead" in finding and "Every try, by the room drawn around your part" in finding
    assert "begins to turn at" in finding


def test_a_change_is_told_undone_and_a_kept_state_restored(visitor):
    begin(visitor, "feed")
    found = record(visitor)["as_found"]
    before, after = visitor.get(f"{MACHINE}/finding").text.split("Feed, after the change")
    assert "Changed since" in before and "Changed since" not in after
    assert "The extruder is right" in after
    visitor.get(f"{MACHINE}/take").press("/do/undo")
    through(visitor)
    undone = record(visitor)
    assert undone["changes"][-1]["kind"] == "undo"
    assert undone["as_left"]["parsed"]["steps_per_mm"] == found["parsed"]["steps_per_mm"]
    changed = undone["changes"][0]["marks"][-2]["details"]["kept"]
    assert "Put back" in visitor.get(f"{MACHINE}/change").text
    form = f'name="kept" value="{changed}"'
    assert form in visitor.get(f"{MACHINE}/take").html
    visitor.client.post(
        f"{MACHINE}/do/restore", data={"token": visitor.token, "kept": str(changed)}
    )
    through(visitor)
    restored = record(visitor)
    assert restored["changes"][-1]["kind"] == "restore"
    wanted = undone["changes"][0]["settings"][0]["wanted"]
    held = restored["as_left"]["parsed"]["steps_per_mm"]
    assert held["E"] == pytest.approx(wanted, abs=0.006)  # as many digits as the machine prints


def test_what_was_set_since_is_said_with_its_finding(visitor):
    """Left where the extruder is set and not fed again yet."""
    visitor.get(f"{MACHINE}/evening").press("/do/evening", trials="feed")
    while ".feed-again." not in (visitor.step() or ""):
        if visitor.step() is None:
            visitor.get(f"{MACHINE}/now")
        elif "value" in visitor.form("/answer").names:
            visitor.press("/answer", value=visitor.shown)
        else:
            visitor.press("/answer", ("answer", "yes"))
    finding = visitor.get(f"{MACHINE}/finding").text
    assert "The extruder fed" in finding and "The extruder feeds" not in finding
    assert "Changed since: E 93 →" in finding and "read back" in finding


def test_a_mark_that_went_in_is_made_longer_and_the_feed_begun_anew(visitor):
    visitor.get(f"{MACHINE}/evening").press("/do/evening", trials="feed")
    while not (visitor.get(f"{MACHINE}/now").step() or "").endswith("feed.1.remaining"):
        if visitor.step():
            visitor.press("/answer", ("answer", "yes"))
    visitor.press("/answer", value="0")
    assert "mark more" in visitor.text and "--" not in visitor.text
    visitor.press("/stop").press("/do/leave")
    visitor.press("/do/evening", trials="feed", marked_mm="150", anew="yes")
    while not (visitor.get(f"{MACHINE}/now").step() or "").endswith("feed.1.mark"):
        if visitor.step():
            visitor.press("/answer", ("answer", "yes"))
    assert "Mark the filament 150 mm" in visitor.text
    assert [trial["outcome"] for trial in record(visitor)["trials"]] == ["stopped", "unfinished"]


def test_the_years_of_a_machine_with_their_numbers(visitor):
    begin(visitor, "feed")
    visitor.get("/")
    assert f'href="{MACHINE}/history"' in visitor.html
    years = visitor.get(f"{MACHINE}/history")
    assert "1 calibration since" in years.text and "Feed of E" in years.text
    assert "Cannot be judged yet" in years.text and "%" in years.text
    assert years.html.count("<figure") == years.html.count("The numbers of this picture") == 1


def test_lines_handed_over_wait_for_a_word_and_then_count(serve):
    """No cable: what was entered by hand is kept as typed, and the next trial rests on it."""
    served = serve("open", "--page-port", "0")
    visitor = Visitor(served.address).get("/").press("/machine", name="case-maker")
    visitor.client.post("/m/case-maker/do/set", data={"token": visitor.token})
    wait_for(lambda: "could not be done" in visitor.get("/m/case-maker/now").text)
    assert "On this page: Change and prove" in visitor.text and "In a terminal" in visitor.text
    visitor.get("/m/case-maker/before").press("/pasted", steps="X=80, Y=80, Z=400, E=93")
    rows = "marked_mm,remaining_mm,commanded_mm\n" + "120,23.7,100\n" * 4
    visitor.get("/m/case-maker/evening")
    visitor.press("/pasted", kind="feed", temperature_c="205", readings=rows)
    visitor.get("/m/case-maker/change").press("/do/set")
    wait_for(lambda: visitor.get("/m/case-maker/now").step())
    assert visitor.step().endswith("entered")
    assert "M92 E96.573" in visitor.text and "hand at the switch" in visitor.text
    assert "In a terminal" not in visitor.text
    visitor.press("/answer", ("answer", "yes"))
    wait_for(lambda: "See what was found" in visitor.get("/m/case-maker/now").text)
    document = json.loads(visitor.client.get("/m/case-maker/record.json").content)
    last = document["kept_states"][-1]
    assert last["standing"] == "typed"
    assert last["parsed"]["steps_per_mm"]["E"] == pytest.approx(93 * 100 / 96.3, abs=1e-4)
    assert document["changes"][-1]["state"] == "handed_over"  # a word is no proof
