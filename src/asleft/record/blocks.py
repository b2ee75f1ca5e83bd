"""The few forms a record on paper is made of: facts, tables, sentences, raw lines, charts.

Plain dicts of finished text, so that the template only lays out and the tests can compare
what is shown with what was printed. No figure is made here.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Literal

Block = dict[str, Any]
Align = Literal["left", "right"]


def section(title: str, *blocks: Block | None) -> dict[str, Any]:
    """One part of the record; blocks that are None are left out."""
    return {"title": title, "blocks": [each for each in blocks if each is not None]}


def facts(rows: Sequence[tuple[str, str]], *, leads: bool = False) -> Block:
    """Names and what they are, one a line; what `leads` stays with what follows."""
    return {"kind": "facts", "rows": [list(row) for row in rows], "leads": leads}


def table(
    columns: Sequence[tuple[str, Align]],
    rows: Sequence[Sequence[str]],
    *,
    wide: int | None = None,
    faint: Sequence[int] = (),
) -> Block:
    """A table; column `wide` takes the room that is left, `faint` rows are set back.

    Without `wide` it is as narrow as its text.
    """
    return {
        "kind": "table",
        "columns": [{"title": title, "align": align} for title, align in columns],
        "rows": [list(row) for row in rows],
        "wide": wide,
        "faint": list(faint),
    }


def says(text: str, *, leads: bool = False) -> Block:
    """One paragraph; what `leads` stays with what follows."""
    return {"kind": "text", "text": text, "leads": leads}


def heading(text: str) -> Block:
    """A heading inside a section; it stays with what follows."""
    return {"kind": "heading", "text": text}


def points(texts: Sequence[str]) -> Block:
    """Sentences that stand for themselves."""
    return {"kind": "points", "texts": list(texts)}


def raw(text: str) -> Block:
    """Lines as a machine printed them or as they were sent."""
    return {"kind": "raw", "text": text.replace("\r\n", "\n").strip("\n")}


def marks(rows: Sequence[tuple[str, str, str]]) -> Block:
    """What happened one after the other: when, what, and the lines that show it."""
    return {"kind": "marks", "rows": [list(row) for row in rows]}


def chart(svg: str) -> Block:
    """A chart."""
    return {"kind": "chart", "svg": svg}


def drawing(svg: str, caption: str) -> Block:
    """A drawing as wide as the text, its type in that of the record; it stands where room is."""
    shown = svg.replace("sans-serif", "Libertinus Serif")
    return {"kind": "drawing", "svg": shown, "caption": caption}


def verdict(what: str, where: str, word: str, lines: Sequence[str]) -> Block:
    """One verdict: of what, where that belongs if not in the controller, the word, and why."""
    return {"kind": "verdict", "what": what, "where": where, "word": word, "lines": list(lines)}
