"""Small charts as SVG text, to stand in a page of Markdown.

Points with whiskers on a common axis; no library. Colours hold on light and on dark paper.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

WIDTH, LEFT, RIGHT, ROW, TOP = 720, 250, 20, 20, 26
INK, BAND, POINT = "#7a7a7a", "#9db8a8", "#2f6f8f"


@dataclass(frozen=True)
class Dot:
    """One row of a chart: label, value, and a whisker of ± `half`."""

    label: str
    value: float
    half: float = 0.0


def dots(title: str, rows: Sequence[Dot], band: tuple[float, float], axis: Sequence[float]) -> str:
    """A dot chart; `band` is where the points should lie, `axis` its tick values."""
    low, high = axis[0], axis[-1]

    def x(value: float) -> float:
        share = (min(max(value, low), high) - low) / (high - low)
        return round(LEFT + share * (WIDTH - LEFT - RIGHT), 1)

    height = TOP + ROW * len(rows) + 24
    bottom = height - 20
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" role="img" '
        f'font-family="sans-serif" font-size="12" fill="{INK}">',
        f"<title>{escape(title)}</title>",
        f'<text x="0" y="14" font-weight="bold">{escape(title)}</text>',
        f'<rect x="{x(band[0])}" y="{TOP - 4}" width="{x(band[1]) - x(band[0]):.1f}" '
        f'height="{bottom - TOP + 4}" fill="{BAND}" opacity="0.35"/>',
    ]
    for tick in axis:
        parts.append(
            f'<line x1="{x(tick)}" x2="{x(tick)}" y1="{TOP - 4}" y2="{bottom}" '
            f'stroke="{INK}" stroke-width="0.4"/>'
            f'<text x="{x(tick)}" y="{height - 5}" text-anchor="middle">{tick:g}</text>'
        )
    for k, dot in enumerate(rows):
        y = TOP + ROW * k + 8
        parts.append(
            f'<text x="0" y="{y + 4}">{escape(dot.label)}</text>'
            f'<line x1="{x(dot.value - dot.half)}" x2="{x(dot.value + dot.half)}" y1="{y}" '
            f'y2="{y}" stroke="{POINT}"/>'
            f'<circle cx="{x(dot.value)}" cy="{y}" r="4" fill="{POINT}"/>'
        )
    return "\n".join([*parts, "</svg>"])
