"""Charts of what is left over: each reading's residual by its place, and an axis from both sides.

In the manner of `charts`: SVG text, looks by CSS classes, nothing told by colour alone. Draws what
it is given; computes nothing but positions.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from asleft.record.charts import STYLE, draw_line, draw_text, nice_step, tick_label

WIDTH, LABEL, MARGIN, ROW, TOP = 480.0, 126.0, 18.0, 15.0, 8.0
LEFT, LOOP_HEIGHT = 58.0, 190.0
LOOP_STYLE = STYLE + (
    ".way{stroke:#1f2a36;stroke-width:1.2;fill:none}.back{stroke:#1f2a36;stroke-width:1.2;"
    "fill:none;stroke-dasharray:4 3}"
)


@dataclass(frozen=True)
class Rest:
    """One reading: the row it belongs to, what is left of it in the chart's unit, whether used."""

    label: str
    value: float
    used: bool


def rest_chart(readings: Sequence[Rest], *, unit: str, caption: str) -> str:
    """A row for each label in their order, a dot a reading; what was set aside is drawn open.

    The scale is that of the readings used: an open one farther off stands at the edge with its
    number.

    Raises:
        ValueError: no readings.
    """
    if not readings:
        raise ValueError("a chart needs readings")
    rows = list(dict.fromkeys(each.label for each in readings))
    reach = max((abs(each.value) for each in readings if each.used), default=0.0) * 1.15 or 0.01
    step = nice_step(reach / 2.5)
    edge = step * -(-reach // step)
    bottom = TOP + ROW * len(rows)

    def x(value: float) -> float:
        inside = min(max(value, -edge), edge)
        return LABEL + (WIDTH - LABEL - MARGIN) * (inside + edge) / (2 * edge)

    parts = [draw_line("axis", x(-edge), bottom, x(edge), bottom)]
    for tick in range(-round(edge / step), round(edge / step) + 1):
        at = x(tick * step)
        parts.append(draw_line("zero" if tick == 0 else "axis", at, bottom, at, bottom + 3))
        parts.append(
            draw_text("text faint", at, bottom + 13, tick_label(tick * step, step), "middle")
        )
    parts.append(draw_line("zero", x(0), TOP, x(0), bottom))
    parts.append(draw_text("text faint", x(0), bottom + 26, f"{caption} ({unit})", "middle"))
    for number, label in enumerate(rows):
        y = TOP + ROW * (number + 0.5)
        parts.append(draw_text("text", LABEL - 8, y + 3.5, label, "end"))
        for each in (one for one in readings if one.label == label):
            at = x(each.value)
            parts.append(draw_line("stem", x(0), y, at, y))
            shape = "dot" if each.used else "out"
            parts.append(f'<circle class="{shape}" cx="{at:.2f}" cy="{y:.2f}" r="2.8"/>')
            if abs(each.value) > edge:
                side = ("start", 7.0) if each.value < 0 else ("end", -7.0)
                number_text = tick_label(each.value, step / 10)
                parts.append(draw_text("text", at + side[1], y + 3.5, number_text, side[0]))
    return _svg(parts, bottom + 30, STYLE + ".stem{stroke:#5b5f66;stroke-width:.6}")


def loop_chart(
    up: Sequence[tuple[float, float]], down: Sequence[tuple[float, float]], *, axis: str
) -> str:
    """Departures of an axis at its targets, reached from below (solid) and from above (dashed).

    Args:
        up, down: (target, departure) in mm, at least one each.
        axis: its name.

    Returns:
        SVG text, 480 by 190. The gap between the two lines is the reversal.

    Raises:
        ValueError: one way has no points.
    """
    if not up or not down:
        raise ValueError("a loop needs both ways")
    targets = sorted({at for at, _ in (*up, *down)})
    offs = [0.0, *(off for _, off in (*up, *down))]
    low, high = min(offs), max(offs)
    pad = 0.12 * (high - low) or 0.01
    low, high = low - pad, high + pad
    bottom = LOOP_HEIGHT - 40

    def x(target: float) -> float:
        wide = targets[-1] - targets[0] or 1.0
        return LEFT + 12 + (WIDTH - MARGIN - LEFT - 24) * (target - targets[0]) / wide

    def y(off: float) -> float:
        return bottom - (bottom - TOP) * (off - low) / (high - low)

    parts = [
        draw_line("axis", LEFT, TOP, LEFT, bottom),
        draw_line("zero", LEFT, y(0), WIDTH - MARGIN, y(0)),
    ]
    parts += _upright_ticks(low, high, y)
    for target in targets:
        parts.append(draw_text("text faint", x(target), bottom + 14, f"{target:g}", "middle"))
    caption = f"{axis} sent to (mm); upwards: read less sent (mm)"
    parts.append(
        draw_text("text faint", (LEFT + WIDTH - MARGIN) / 2, bottom + 32, caption, "middle")
    )
    for kind, shape, points in (("way", "dot", up), ("back", "out", down)):
        drawn = " ".join(f"{x(at):.2f},{y(off):.2f}" for at, off in sorted(_means(points).items()))
        parts.append(f'<polyline class="{kind}" points="{drawn}"/>')
        parts += [
            f'<circle class="{shape}" cx="{x(at):.2f}" cy="{y(off):.2f}" r="2.8"/>'
            for at, off in points
        ]
    return _svg(parts, LOOP_HEIGHT, LOOP_STYLE)


def _upright_ticks(low: float, high: float, y: Callable[[float], float]) -> list[str]:
    """Ticks and their labels at the left; `y` places a value."""
    step = nice_step((high - low) / 4)
    parts = []
    for tick in range(int(low / step) - 1, int(high / step) + 2):
        if low <= tick * step <= high:
            at = y(tick * step)
            parts.append(draw_line("axis", LEFT - 3, at, LEFT, at))
            label = tick_label(tick * step, step)
            parts.append(draw_text("text faint", LEFT - 6, at + 3.5, label, "end"))
    return parts


def _means(points: Sequence[tuple[float, float]]) -> Mapping[float, float]:
    """The mean departure at each target."""
    by_target: dict[float, list[float]] = {}
    for at, off in points:
        by_target.setdefault(at, []).append(off)
    return {at: sum(each) / len(each) for at, each in by_target.items()}


def _svg(parts: Sequence[str], height: float, style: str) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {height:g}"'
        f' width="{WIDTH:g}" height="{height:g}"><style>{style}</style>{"".join(parts)}</svg>'
    )
