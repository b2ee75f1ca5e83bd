"""Small charts as SVG text: values with their 95 % intervals against a tolerance band.

One drawing for page and paper: colours and lines come from CSS classes, so that a page may
restyle them (light, dark). Draws; computes nothing but positions.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from html import escape

WIDTH = 480.0
LABEL_WIDTH = 104.0
ROW_HEIGHT, MANY, LOW_ROW_HEIGHT = 18.0, 16, 13.0  # so many rows stand closer
TOP = 8.0
BOTTOM = 30.0
MARGIN = 18.0

STYLE = (
    ".band{fill:#e4e9e4}.axis{stroke:#5b5f66;stroke-width:.7}.zero{stroke:#5b5f66;stroke-width:.7}"
    ".bar{stroke:#1f2a36;stroke-width:1.2}.dot{fill:#1f2a36}.out{fill:#fff;stroke:#a3271f;"
    "stroke-width:1.6}.text{font-family:'Libertinus Serif',serif;font-size:11px;fill:#1f2a36}"
    ".faint{fill:#5b5f66}"
)


@dataclass(frozen=True)
class Interval:
    """One row of a chart: a value and its 95 % interval, in the chart's unit.

    `outside` marks what fell outside of what was foretold; it is drawn open, so that it is
    told apart without colour.
    """

    label: str
    value: float
    low: float
    high: float
    outside: bool = False


def interval_chart(
    rows: Sequence[Interval], *, unit: str, band: float | None = None, caption: str = ""
) -> str:
    """Draw intervals about zero, with the band of ± `band` behind them.

    Args:
        rows: at least one, top to bottom.
        unit: unit of values and band; stands at the axis.
        band: half-width of the tolerance, same unit, or None.
        caption: what the axis shows, one short phrase.

    Returns:
        SVG text, 480 wide, as high as the rows need.

    Raises:
        ValueError: no rows.
    """
    if not rows:
        raise ValueError("a chart needs rows")
    reach = max([abs(x) for row in rows for x in (row.value, row.low, row.high)] + [band or 0.0])
    step = nice_step((reach or 1.0) / 2.5)  # two or three on each side of zero
    edge = step * _ceil((reach or 1.0) * 1.04 / step)
    high = ROW_HEIGHT if len(rows) < MANY else LOW_ROW_HEIGHT
    bottom = TOP + high * len(rows)

    def x(value: float) -> float:
        plot = WIDTH - LABEL_WIDTH - MARGIN
        return LABEL_WIDTH + plot * (value + edge) / (2 * edge)

    parts = []
    if band:
        parts.append(
            f'<rect class="band" x="{x(-band):.2f}" y="{TOP:.2f}"'
            f' width="{x(band) - x(-band):.2f}" height="{bottom - TOP:.2f}"/>'
        )
    parts.append(draw_line("zero", x(0), TOP, x(0), bottom))
    parts.append(draw_line("axis", x(-edge), bottom, x(edge), bottom))
    count = _ceil(edge / step)
    for tick in range(-count, count + 1):
        at = x(tick * step)
        parts.append(draw_line("axis", at, bottom, at, bottom + 3))
        parts.append(
            draw_text("text faint", at, bottom + 13, tick_label(tick * step, step), "middle")
        )
    parts.append(
        draw_text("text faint", x(0), bottom + 26, f"{caption} ({unit})".strip(), "middle")
    )
    for number, row in enumerate(rows):
        parts += _bar(row, TOP + high * (number + 0.5), x)
    height = bottom + BOTTOM
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {height:g}"'
        f' width="{WIDTH:g}" height="{height:g}"><style>{STYLE}</style>{"".join(parts)}</svg>'
    )


def _bar(row: Interval, y: float, x: Callable[[float], float]) -> list[str]:
    """One interval with its ends and its value, at a height; `x` places a value."""
    shape = "out" if row.outside else "dot"
    return [
        draw_text("text", LABEL_WIDTH - 8, y + 3.5, row.label, "end"),
        draw_line("bar", x(row.low), y, x(row.high), y),
        *(draw_line("bar", x(end), y - 3, x(end), y + 3) for end in (row.low, row.high)),
        f'<circle class="{shape}" cx="{x(row.value):.2f}" cy="{y:.2f}" r="2.8"/>',
    ]


def nice_step(rough: float) -> float:
    """A round distance between ticks, at least `rough`: 1, 2 or 5 times a power of ten."""
    from math import floor, log10

    size: float = 10.0 ** floor(log10(rough))
    return next(size * nice for nice in (1.0, 2.0, 5.0, 10.0) if size * nice >= rough)


def _ceil(value: float) -> int:
    return int(-(-value // 1)) if abs(value - round(value)) > 1e-9 else round(value)


def tick_label(value: float, step: float) -> str:
    """A signed number with as many decimals as `step` has; 0 without a sign."""
    decimals = max(0, len(f"{step:.9f}".rstrip("0").partition(".")[2]))
    text = f"{value:+.{decimals}f}" if abs(value) > step / 2 else "0"
    return text.replace("-", "−")


def draw_line(kind: str, x1: float, y1: float, x2: float, y2: float) -> str:
    """One line of a CSS class."""
    return f'<line class="{kind}" x1="{x1:.2f}" y1="{y1:.2f}" x2="{x2:.2f}" y2="{y2:.2f}"/>'


def draw_text(kind: str, x: float, y: float, text: str, anchor: str) -> str:
    """One text of a CSS class, anchored `start`, `middle` or `end`."""
    return (
        f'<text class="{kind}" x="{x:.2f}" y="{y:.2f}" text-anchor="{anchor}">{escape(text)}</text>'
    )
