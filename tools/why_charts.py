"""The four pictures of the page "why not one cube", as small SVG text.

Draws what `why_machines` computed and judges nothing. Lines and letters come from the record's
charts, so that all pictures of the project are of one hand; they bring their own light paper.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

import numpy as np
from numpy.typing import NDArray

from asleft.record.charts import draw_line, draw_text, tick_label

WIDTH, LEFT, RIGHT, TOP, BOTTOM = 640.0, 70.0, 20.0, 34.0, 40.0
STYLE = (
    ".paper{fill:#fff}.axis{stroke:#5b5f66;stroke-width:.7}.grid{stroke:#d5d8da;stroke-width:.7}"
    ".text{font-family:sans-serif;font-size:12px;fill:#1f2a36}.title{font-weight:bold}"
    ".cube{stroke:#a3271f;fill:none;stroke-width:2;stroke-dasharray:6 3}"
    ".piece{stroke:#1d5f87;fill:none;stroke-width:2}"
    ".found{stroke:#5b5f66;fill:none;stroke-width:2;stroke-dasharray:1 3}"
    ".fill-cube{fill:#d9a19c}.fill-piece{fill:#7fa9c2}.fill-found{fill:#b9bdc1}"
)
SERIES = {"found": "as found", "cube": "after the cube", "piece": "after the span piece"}


@dataclass(frozen=True)
class Frame:
    """A plot: what its sides stand for, and where it lies on the paper, downwards."""

    x: tuple[float, float]
    y: tuple[float, float]
    top: float = TOP
    height: float = 220.0

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Where a value lies; beyond the sides it lies on them."""
        across = (x - self.x[0]) / (self.x[1] - self.x[0])
        up = (min(max(y, self.y[0]), self.y[1]) - self.y[0]) / (self.y[1] - self.y[0])
        return LEFT + across * (WIDTH - LEFT - RIGHT), self.top + (1 - up) * self.height

    def ticks(
        self, xs: Sequence[float], ys: Sequence[float], x_says: str, y_says: str
    ) -> list[str]:
        """Both axes with what they say; labels are signed where one of them is below 0."""
        left, base = self.at(self.x[0], self.y[0])
        right = WIDTH - RIGHT
        parts = [draw_line("axis", left, base, right, base)]
        for y in ys:
            _, at = self.at(0, y)
            parts.append(draw_line("grid", left, at, right, at))
            label = tick_label(y, ys[1] - ys[0]) if ys[0] < 0 else f"{y:g}"
            parts.append(draw_text("text", left - 6, at + 4, label, "end"))
        for x in xs:
            at, _ = self.at(x, 0)
            label = tick_label(x, xs[1] - xs[0]) if xs[0] < 0 else f"{x:g}"
            parts.append(draw_line("axis", at, base, at, base + 4))
            parts.append(draw_text("text", at, base + 17, label, "middle"))
        parts.append(draw_text("text", (left + right) / 2, base + 34, x_says, "middle"))
        parts.append(draw_text("text", left - 60, self.top - 10, y_says, "start"))
        return parts

    def path(self, kind: str, xs: Sequence[float], ys: Sequence[float], thin: bool = False) -> str:
        """A line through points, of the kind `found`, `cube` or `piece`."""
        points = " ".join(
            "{:.1f},{:.1f}".format(*self.at(x, y)) for x, y in zip(xs, ys, strict=True)
        )
        width = ' style="stroke-width:1"' if thin else ""
        return f'<polyline class="{kind}"{width} points="{points}"/>'

    def say(self, x: float, y: float, text: str, anchor: str = "start", up: float = 6.0) -> str:
        """Words beside a point."""
        at, height = self.at(x, y)
        return draw_text("text", at, height - up, text, anchor)


def picture(title: str, parts: Sequence[str], height: float) -> str:
    """The whole SVG, one part a line, with its title for screen readers."""
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {height:g}" role="img">'
        f"<title>{escape(title)}</title><style>{STYLE}</style>"
    )
    paper = f'<rect class="paper" width="{WIDTH:g}" height="{height:g}"/>'
    return "\n".join([head, paper, *parts, "</svg>"]) + "\n"


def lengths(drawn_mm: Sequence[float], off_mm: dict[str, Sequence[float]]) -> str:
    """How far parts of one machine come out off, by drawn length: as found, cube, span piece."""
    frame = Frame((0, 150), (-0.7, 0.2))
    parts = frame.ticks(
        range(0, 151, 20), [-0.6, -0.4, -0.2, 0.0, 0.2], "drawn size, mm", "off, mm"
    )
    for kind, values in off_mm.items():
        parts.append(frame.path(kind, drawn_mm, values))
        at = len(values) * 3 // 4  # clear of the line that falls
        up = 6.0 if kind == "found" else -18.0
        parts.append(frame.say(drawn_mm[at], values[at], SERIES[kind], "end", up))
    return picture("A right machine that prints 0.1 mm fat", parts, TOP + 220 + BOTTOM)


def spread(errors: dict[str, NDArray[np.float64]]) -> str:
    """Three histograms of scale error in per cent on one axis, each as high as its own highest."""
    edges = np.linspace(-2.0, 2.0, 81)
    parts: list[str] = []
    for row, (kind, values) in enumerate(errors.items()):
        counts, _ = np.histogram(np.clip(values * 100, -1.999, 1.999), edges)
        frame = Frame((-2, 2), (0, float(counts.max())), top=TOP + row * 110, height=80)
        for low, high, count in zip(edges[:-1], edges[1:], counts.tolist(), strict=True):
            (x1, y), (x2, base) = frame.at(low, count), frame.at(high, 0)
            box = f'x="{x1:.1f}" y="{y:.1f}" width="{x2 - x1 - 0.5:.1f}" height="{base - y:.1f}"'
            parts.append(f'<rect class="fill-{kind}" {box}/>')
        parts.append(draw_text("text title", LEFT, frame.top + 12, SERIES[kind], "start"))
        base = frame.top + 80
        parts.append(draw_line("axis", LEFT, base, WIDTH - RIGHT, base))
    ticks = frame.ticks(np.arange(-2, 2.1, 0.5).tolist(), [], "error of scale, %", "")
    return picture("What is left in a thousand machines", [*parts, *ticks], TOP + 300 + BOTTOM)


def paths(cube: NDArray[np.float64], piece: NDArray[np.float64]) -> str:
    """Right machines corrected again and again, (corrections + 1, machines), shares."""
    count = len(cube) - 1
    frame = Frame((0, count), (-0.4, 0.4))
    ys = [-0.4, -0.2, 0.0, 0.2, 0.4]
    parts = frame.ticks(range(count + 1), ys, "corrections", "error of scale, %")
    for kind, values in (("cube", cube), ("piece", piece)):
        for one in values.T * 100:
            parts.append(frame.path(kind, range(count + 1), one.tolist(), thin=kind == "cube"))
    parts.append(frame.say(count, 0.33, "corrected by cubes: broken lines", "end"))
    parts.append(frame.say(count, 0.27, "asked of the span piece: the line at 0", "end"))
    return picture("Machines with nothing wrong", parts, TOP + 220 + BOTTOM)


def rounds(left: dict[str, Sequence[float]]) -> str:
    """Rms error of scale in per cent after none, one, two and three evenings."""
    count = len(left["cube"]) - 1
    frame = Frame((0, count), (0, 0.8))
    ys = [0, 0.2, 0.4, 0.6, 0.8]
    parts = frame.ticks(range(count + 1), ys, "evenings", "rms error of scale, %")
    for kind, values in left.items():
        shown = [100 * v for v in values]
        parts.append(frame.path(kind, range(count + 1), shown))
        parts.append(frame.say(count, shown[-1], SERIES[kind], "end"))
    return picture("Evening after evening", parts, TOP + 220 + BOTTOM)
