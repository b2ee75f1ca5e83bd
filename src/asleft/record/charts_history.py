"""The chart of one quantity over the years: values with their limits, and the weighted average.

In the manner of `charts`: SVG text, looks by CSS classes, nothing told by colour alone. Draws what
`asleft.history/1` holds; computes nothing but positions.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from asleft.record.charts import draw_line, draw_text, nice_step, tick_label

STYLE = (
    ".band{fill:#e4e9e4}.axis{stroke:#5b5f66;stroke-width:.7}.zero{stroke:#5b5f66;stroke-width:.7}"
    ".limit{stroke:#5b5f66;stroke-width:.9;stroke-dasharray:4 3;fill:none}"
    ".average{stroke:#1f2a36;stroke-width:1.2;fill:none}.bar{stroke:#1f2a36;stroke-width:.8}"
    ".dot{fill:#1f2a36}.out{fill:#fff;stroke:#a3271f;stroke-width:1.6}"
    ".event{stroke:#5b5f66;stroke-width:.7;stroke-dasharray:1 2}"
    ".text{font-family:'Libertinus Serif',serif;font-size:11px;fill:#1f2a36}.faint{fill:#5b5f66}"
)
WIDTH, HEIGHT = 480.0, 190.0
LEFT, RIGHT, TOP, BOTTOM = 62.0, 468.0, 14.0, 150.0
UNITS = {"1": (100.0, "%"), "rad": (1000.0, "mrad")}

At = Callable[[float], float]


def history_chart(series: Mapping[str, Any], events: tuple[Mapping[str, Any], ...] = ()) -> str:
    """Draw one of the `series` of `asleft.history/1`: dots are values, open where outside.

    Bars are ± 2 u, dashes the limits of individuals, the line the weighted average, the band what
    would be harmless had nothing been changed since the first.

    Args:
        series: with at least one point.
        events: of the machine, each with `at` and `kind`; dotted where they fall.

    Returns:
        SVG text, 480 by 190.

    Raises:
        ValueError: no points.
    """
    points = series["points"]
    if not points:
        raise ValueError("a chart needs points")
    factor, unit = UNITS.get(series["unit"], (1.0, series["unit"]))
    x, first, last = _across(points)
    y, ticks = _up(series, factor)
    parts = []
    if series["tolerance"]:
        high, low = y(series["tolerance"]), y(-series["tolerance"])
        parts.append(
            f'<rect class="band" x="{LEFT:.2f}" y="{high:.2f}" width="{RIGHT - LEFT:.2f}"'
            f' height="{low - high:.2f}"/>'
        )
    parts += [
        draw_line("zero", LEFT, y(0), RIGHT, y(0)),
        draw_line("axis", LEFT, TOP, LEFT, BOTTOM),
    ]
    for tick, label in ticks:
        parts.append(draw_line("axis", LEFT - 3, y(tick), LEFT, y(tick)))
        parts.append(draw_text("text faint", LEFT - 6, y(tick) + 3.5, label, "end"))
    for event in events:
        if first <= _day(event["at"]) <= last:
            at = x(_day(event["at"]))
            parts.append(draw_line("event", at, TOP, at, BOTTOM))
            parts.append(draw_text("text faint", at, TOP - 4, event["kind"], "middle"))
    parts += _curves(points, x, y)
    parts += [_point(p, x(_day(p["at"])), y) for p in points]
    parts.append(draw_text("text faint", LEFT, BOTTOM + 16, points[0]["at"][:10], "start"))
    if last > first:
        parts.append(draw_text("text faint", RIGHT, BOTTOM + 16, points[-1]["at"][:10], "end"))
    where = series["axis"] or series["plane"] or ""
    caption = f"{series['name'].replace('_', ' ')} {where}".strip() + f" ({unit})"
    parts.append(draw_text("text faint", (LEFT + RIGHT) / 2, BOTTOM + 32, caption, "middle"))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {HEIGHT:g}"'
        f' width="{WIDTH:g}" height="{HEIGHT:g}"><style>{STYLE}</style>{"".join(parts)}</svg>'
    )


def _day(at: str) -> float:
    """A time in days, so that two calibrations of one evening stand apart."""
    return datetime.fromisoformat(at).timestamp() / 86400


def _across(points: list[Mapping[str, Any]]) -> tuple[At, float, float]:
    first, last = _day(points[0]["at"]), _day(points[-1]["at"])
    wide = RIGHT - LEFT - 24
    return lambda day: LEFT + 12 + wide * (day - first) / (last - first or 1.0), first, last


def _up(series: Mapping[str, Any], factor: float) -> tuple[At, list[tuple[float, str]]]:
    """The height of a value, and ticks with their labels; a limit far off may be cut."""
    shown = [0.0]
    for p in series["points"]:
        shown += [p["level"] - 2 * p["u"], p["level"] + 2 * p["u"], p["ewma"]]
        shown += [v for v in (p["low"], p["high"]) if v is not None]
    low, high = min(shown), max(shown)
    pad = 0.05 * (high - low) or 1.0
    low, high = low - pad, high + pad

    def y(value: float) -> float:
        share = (min(max(value, low), high) - low) / (high - low)
        return BOTTOM - (BOTTOM - TOP) * share

    step = nice_step((high - low) * factor / 4)
    count = range(int(low * factor / step) - 1, int(high * factor / step) + 2)
    inside = [k * step for k in count if low * factor <= k * step <= high * factor]
    return y, [(v / factor, tick_label(v, step)) for v in inside]


def _curves(points: list[Mapping[str, Any]], x: At, y: At) -> list[str]:
    """The limits of individuals, and the average through the points."""
    parts = []
    for kind, name in (("limit", "low"), ("limit", "high"), ("average", "ewma")):
        path = [(x(_day(p["at"])), y(p[name])) for p in points if p[name] is not None]
        if len(path) > 1:
            drawn = " ".join(f"{a:.2f},{b:.2f}" for a, b in path)
            parts.append(f'<polyline class="{kind}" points="{drawn}"/>')
    return parts


def _point(point: Mapping[str, Any], x: float, y: At) -> str:
    shape = "out" if point["outside"] else "dot"
    level, u = point["level"], point["u"]
    bar = draw_line("bar", x, y(level - 2 * u), x, y(level + 2 * u))
    return bar + f'<circle class="{shape}" cx="{x:.2f}" cy="{y(level):.2f}" r="2.8"/>'
