"""A whole practice evening through the page by plain forms: from the workshop to the record."""

from __future__ import annotations

import json
from urllib.parse import quote

import pytest

from .conftest import Visitor, wait_for

MACHINE = "/m/" + quote("practice cartesian 7", safe="")


def go_on(visitor: Visitor) -> None:
    """Answer the present step as a person would, or look again."""
    if visitor.step() is None:
        visitor.get(f"{MACHINE}/now")
    elif "value" in visitor.form("/answer").names:
        assert visitor.shown is not None
        visitor.press("/answer", value=visitor.shown.replace(".", ","))
    else:
        visitor.press("/answer", ("answer", "yes"))


@pytest.mark.timeout(120)
def test_a_whole_evening_without_script(serve):
    served = serve("practice", "--seed", "7", "--speed", "2000", "--page-port", "0")
    visitor = Visitor(served.address).get("/")
    assert "practice cartesian 7" in visitor.text and "/stop" in visitor.html
    visitor.get(f"{MACHINE}/before").press("/do/found")
    wait_for(lambda: "On to this evening" in visitor.get(f"{MACHINE}/now").text)
    visitor.get(f"{MACHINE}/evening?door=wrong")
    assert "Feed filament" in visitor.text and " g" in visitor.text
    visitor.press("/do/evening")
    answered: list[str] = []
    while True:
        if visitor.step():
            answered.append(visitor.step())
        elif "See what was found" in visitor.text:
            break
        assert "/do/go-on" not in visitor.html, visitor.text
        go_on(visitor)
    assert len(answered) == len(set(answered))
    assert [a for a in answered if a.endswith("set.confirm")]
    finding = visitor.get(f"{MACHINE}/finding").text
    assert "Span" in finding and "mm" in finding
    assert "The extruder fed" in finding and "Feed, after the change" in finding
    change = visitor.get(f"{MACHINE}/change").text
    assert "stored with what came after it" in change
    assert "survived a power cycle" in change and "places came out inside" in change
    record = visitor.client.get(f"{MACHINE}/record.json")
    document = json.loads(record.content)
    assert document["proof"]["holds"] is True
    assert len(document["readings_sha256"]) == 64
    kinds = [trial["kind"] for trial in document["trials"]]
    assert kinds.count("proof") == 1 and kinds.count("feed") == 2
    assert visitor.client.get(f"{MACHINE}/record.pdf").content.startswith(b"%PDF")
    visitor.get(f"{MACHINE}/take").press("/do/close")
    assert ", closed" in visitor.text
    visitor.get(f"{MACHINE}/take?kind=shaft&size=8")
    assert "Draw 8." in visitor.text or "Draw 7." in visitor.text
    assert served.end() == 130
