"""Charts of readings as they were taken: widths drawn against read, and a line of tries.

In the manner of `charts`: SVG text, looks by CSS classes, nothing told by colour alone. Draws what
the record's trial holds; computes nothing but positions.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

STYLE = (
    ".axis{stroke:#5b5f66;stroke-width:.7}.zero{stroke:#5b5f66;stroke-width:.7;"
    "stroke-dasharray:3 2}.bar{stroke:#1f2a36;stroke-width:1.2;fill:none}.dot{fill:#1f2a36}"
    ".out{fill:#fff;stroke:#1f2a36;stroke-width:1.2}.text{font-family:'Libertinus Serif',serif;"
    "font-size:11px;fill:#1f2a36}.faint{fill:#5b5f66}"
)
WIDTH, SIDE, LEFT = 480.0, 150.0, 56.0
LANE, LABEL = 22.0, 64.0
WORDS = ("refuses", "turns", "loose")

Reading = Mapping[str, Any]


def widths_chart(readings: Sequence[Reading]) -> str | None:
    """Widths of a bead trial, read over drawn, in mm; dashed where both are alike.

    What was set aside may lie far off: it is drawn open, at the edge at most.
    """
    points = [
        (float(r["place"]["drawn_width_mm"]), float(r["value"]), bool(r["used"]))
        for r in readings
        if "drawn_width_mm" in r["place"]
    ]
    if not points:
        return None
    both = [v for x, y, used in points for v in ((x, y) if used else (x,))]
    pad = 0.1 * (max(both) - min(both)) or 0.05
    low, high = min(both) - pad, max(both) + pad

    def at(value: float) -> float:
        return SIDE * (min(max(value, low), high) - low) / (high - low)

    bottom = SIDE + 8
    parts = [
        _line("axis", LEFT, bottom, LEFT + SIDE, bottom),
        _line("axis", LEFT, 8, LEFT, bottom),
        _line("zero", LEFT, bottom, LEFT + SIDE, 8),
    ]
    for width in sorted({x for x, _, _ in points}):
        x, y = LEFT + at(width), bottom - at(width)
        parts += [_line("axis", x, bottom, x, bottom + 3), _line("axis", LEFT - 3, y, LEFT, y)]
        parts.append(_text(x, bottom + 13, f"{width:g}", "middle"))
        parts.append(_text(LEFT - 6, y + 3.5, f"{width:g}", "end"))
    for drawn, read, used in points:
        shape = "dot" if used else "out"
        parts.append(_circle(shape, LEFT + at(drawn), bottom - at(read)))
    parts.append(_text(LEFT + SIDE / 2, bottom + 27, "width drawn (mm)", "middle"))
    beside = LEFT + SIDE + 14
    parts.append(_text(beside, 18, "upwards: width read (mm)", "start"))
    parts.append(_text(beside, 32, "dashed: read as drawn", "start"))
    if not all(used for _, _, used in points):
        parts.append(
            _text(beside, 46, "open: set aside; beyond the edge it stands at the edge", "start")
        )
    return _svg(parts, bottom + 34)


def tries_chart(
    readings: Sequence[Reading], quantities: Sequence[Mapping[str, Any]], *, what: str = ""
) -> str | None:
    """Tries of one kind by the play drawn, in mm: a lane an outcome, and where the next begins.

    Args:
        readings: of bores, or of pins; others are left out by the caller.
        quantities: `clearance` and `clearance_loose` of the same part.
        what: of which bodies, where there are two kinds.
    """
    tries = [(_play(r), str(r["place"]["outcome"])) for r in readings if r["place"].get("outcome")]
    if not tries:
        return None
    spans = [
        (float(q["low95"]), float(q["value"]), float(q["high95"]))
        for q in quantities
        if q["value"] is not None
    ]
    ends = [play for play, _ in tries] + [v for span in spans for v in (span[0], span[2])]
    low, high = min(ends) - 0.02, max(ends) + 0.02

    def at(value: float) -> float:
        return LABEL + (WIDTH - LABEL - 16) * (value - low) / (high - low)

    bottom = 8 + LANE * len(WORDS)
    parts = [_line("axis", LABEL, bottom, WIDTH - 16, bottom)]
    for lane, word in enumerate(WORDS):
        y = 8 + LANE * (lane + 0.5)
        parts.append(_text(LABEL - 8, y + 3.5, word, "end"))
        parts += [_circle("out" if word == "turns" else "dot", at(play), y)
                  for play, outcome in tries if outcome == word]  # fmt: skip
    for begins, (start, middle, end) in enumerate(spans):
        y = 8 + LANE * (begins + 1)
        parts += [
            _line("bar", at(start), y, at(end), y),
            _line("bar", at(middle), y - 4, at(middle), y + 4),
        ]
    for play in sorted({round(play, 3) for play, _ in tries}):
        parts.append(_line("axis", at(play), bottom, at(play), bottom + 3))
    for play in (min(p for p, _ in tries), max(p for p, _ in tries)):
        parts.append(_text(at(play), bottom + 13, f"{play:+.2f}".replace("-", "−"), "middle"))
    said = "play drawn (mm); bars: where the next begins, 95 of 100"
    said = f"{what}: {said}" if what else said
    parts.append(_text((LABEL + WIDTH) / 2, bottom + 27, said, "middle"))
    return _svg(parts, bottom + 34)


def _play(reading: Reading) -> float:
    """How much more room was drawn than the part has size."""
    place = reading["place"]
    more = float(reading["value"]) - float(place["gauge_mm"])
    return -more if place.get("kind") == "pin" else more


def _svg(parts: Sequence[str], height: float) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {height:g}"'
        f' width="{WIDTH:g}" height="{height:g}"><style>{STYLE}</style>{"".join(parts)}</svg>'
    )


def _circle(kind: str, x: float, y: float) -> str:
    return f'<circle class="{kind}" cx="{x:.2f}" cy="{y:.2f}" r="2.8"/>'


def _line(kind: str, x1: float, y1: float, x2: float, y2: float) -> str:
    return f'<line class="{kind}" x1="{x1:.2f}" y1="{y1:.2f}" x2="{x2:.2f}" y2="{y2:.2f}"/>'


def _text(x: float, y: float, text: str, anchor: str) -> str:
    return (
        f'<text class="text faint" x="{x:.2f}" y="{y:.2f}" text-anchor="{anchor}">'
        f"{escape(text)}</text>"
    )
